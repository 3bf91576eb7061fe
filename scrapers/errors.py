"""What can go wrong between a URL and a reading.

    ScrapeError
    +-- FetchError         a visit brought no page; carries its outcome and reason
    |   +-- GuardError     our own policy refused the address, scheme or port
    |   +-- BrokenError    what came was truncated or malformed
    |   +-- TooLargeError  what came passed a size, depth or time limit
    +-- RuleError          a rule that the user wrote cannot be used; says why
    +-- UnitError          an amount or unit cannot be read or converted; says what to write

Nothing else leaves this package: whatever bytes a page holds, `read_page`
answers a Reading, and a visit answers a Visited.
"""

from __future__ import annotations


class ScrapeError(Exception):
    """Something between a URL and a reading went wrong."""


class FetchError(ScrapeError):
    """A visit brought no page. `outcome` is a value of `Outcome`."""

    outcome = "unreachable"

    def __init__(
        self, reason: str, *, outcome: str | None = None, retry_after: float | None = None
    ) -> None:
        """`retry_after`: seconds that the server asked us to wait, already clamped."""
        super().__init__(reason)
        self.reason = reason
        self.outcome = outcome or type(self).outcome
        self.retry_after = retry_after


class GuardError(FetchError):
    """Our own policy refused the address; nothing was sent to it."""

    outcome = "refused"


class BrokenError(FetchError):
    """What the server sent is truncated or malformed."""

    outcome = "broken"


class TooLargeError(FetchError):
    """What the server sent passed a limit of size, depth or work."""

    outcome = "too_large"


class RuleError(ScrapeError):
    """A rule that the user wrote cannot be used; the message says why."""


class UnitError(ScrapeError):
    """An amount or unit cannot be read or converted; the message says what to write."""
