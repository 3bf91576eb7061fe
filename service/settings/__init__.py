"""Settings: defaults, the user's `ebbmark.toml` over them, `EBBMARK_*` over that.

Read with the standard library: a settings framework costs more start-up time
than all the rest of a command (docs/decisions.md).
"""

from service.settings.load import data_dir, load_settings
from service.settings.readers import read_setting
from service.settings.shapes import SETTINGS, ChannelSettings, Settings

__all__ = ["SETTINGS", "ChannelSettings", "Settings", "data_dir", "load_settings", "read_setting"]
