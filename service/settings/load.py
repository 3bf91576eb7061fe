"""Where settings are found: defaults, `ebbmark.toml` over them, `EBBMARK_*` over that."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from service.errors import InputError
from service.settings.readers import READERS
from service.settings.shapes import FIELD, SETTINGS, Settings

PREFIX = "EBBMARK_"
FILE_ONLY = ("payment", "supplies", "channel", "tls")
_SCALARS = tuple(name for name in READERS if name not in FILE_ONLY)


def data_dir(env: Mapping[str, str]) -> Path:
    """Where the user's book is kept (XDG base directory specification)."""
    home = Path(env.get("HOME") or Path.home())
    return Path(env.get("XDG_DATA_HOME") or home / ".local" / "share") / "ebbmark"


def config_file(env: Mapping[str, str]) -> Path:
    """The settings file: EBBMARK_CONFIG, else in the user's configuration directory."""
    if named := env.get(PREFIX + "CONFIG"):
        return Path(named)
    home = Path(env.get("HOME") or Path.home())
    return Path(env.get("XDG_CONFIG_HOME") or home / ".config") / "ebbmark" / "ebbmark.toml"


def load_settings(env: Mapping[str, str] | None = None, *, db: str | None = None) -> Settings:
    """File and environment -> Settings. InputError names every problem at once.

    `db` (from the command line) goes over both.
    """
    env = os.environ if env is None else env
    path = config_file(env)
    found = _from_file(path, explicit=PREFIX + "CONFIG" in env)
    problems = _unknown(found, path) + _unknown_env(env)
    named = _from_env(env)
    origin = {name: str(path) for name in found} | {name: _variable(name) for name in named}
    found |= named | ({"db": db} if db else {})
    fixed = {name: origin.get(name, "--db") for name in found}
    values, wrong = _read(found, fixed)
    if problems or wrong:
        raise InputError(problems + wrong)
    own = {"db": f"sqlite:///{data_dir(env) / 'ebbmark.db'}"}
    return Settings(**own | values, fixed=fixed)


def _read(found: Mapping[str, Any], origin: Mapping[str, str]) -> tuple[dict[str, Any], list[str]]:
    """The values by field of Settings, and what is wrong with the others."""
    values: dict[str, Any] = {}
    problems: list[str] = []
    for name, raw in found.items():
        if reader := READERS.get(name):
            try:
                values[FIELD.get(name, name)] = reader(raw)
            except InputError as error:
                problems += [f"{origin[name]}: {name}: {p}" for p in error.problems]
    return values, problems


def _variable(name: str) -> str:
    return PREFIX + name.upper()


def _from_env(env: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name in _SCALARS if (value := env.get(_variable(name)))}


def _from_file(path: Path, *, explicit: bool) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        if explicit:
            raise InputError(f"{path}: no such settings file; check EBBMARK_CONFIG") from None
        return {}
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not valid TOML: {error}") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None


def _unknown(found: Mapping[str, Any], path: Path) -> list[str]:
    known = ", ".join(name for name, _ in SETTINGS)
    return [
        f"{path}: {key}: no such setting; the settings are {known}"
        for key in found
        if key not in READERS
    ]


def _unknown_env(env: Mapping[str, str]) -> list[str]:
    known = {_variable(name) for name in _SCALARS} | {PREFIX + "CONFIG", PREFIX + "TEST_FAIL"}
    return [
        f"{name}: no such setting; the settings are {', '.join(sorted(known))}"
        for name in env
        if name.startswith(PREFIX) and name not in known
    ]
