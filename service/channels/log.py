"""The channel that is always there: a line in the service's log."""

from __future__ import annotations

import structlog

from service.model.deals import Notice


class LogChannel:
    """Writes each notice as one structured line; control characters are escaped."""

    def __init__(self, name: str = "log") -> None:
        self.name = name

    async def send(self, notice: Notice) -> None:
        """Never fails."""
        logger = structlog.get_logger("notice")
        logger.info("deal", channel=self.name, key=notice.key, subject=notice.subject)
