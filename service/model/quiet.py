"""Hours in which nobody wants to be told. Pure; the clocks may change in the midst of them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.errors import InputError

_SPAN = re.compile(
    r"([01]?[0-9]|2[0-3]):([0-5][0-9])\s*[-\u2013]\s*([01]?[0-9]|2[0-3]):([0-5][0-9])"
)


@dataclass(frozen=True, slots=True)
class Quiet:
    """From `start` to `end` on the user's clock; past midnight where `end` is the earlier."""

    start: time
    end: time

    def __str__(self) -> str:
        return f"{self.start:%H:%M}-{self.end:%H:%M}"


def parse_quiet(text: str) -> Quiet | None:
    """`"22:00-07:00"`; empty: none. InputError."""
    if not text.strip():
        return None
    match = _SPAN.fullmatch(text.strip())
    if match is None:
        raise InputError(f'quiet hours "{text}": write them like 22:00-07:00')
    start, end = time(int(match[1]), int(match[2])), time(int(match[3]), int(match[4]))
    if start == end:
        raise InputError("quiet hours begin and end at the same time: leave them empty for none")
    return Quiet(start, end)


def quiet_until(quiet: Quiet | None, at: datetime, zone: str) -> datetime | None:
    """When the quiet hours that `at` lies in end (UTC); None: it lies in none.

    Compared as instants, so that a night is whole and comes once also when clocks change:
    a time that is skipped is an hour later, one that comes twice is its first (PEP 495).
    """
    if quiet is None:
        return None
    where = ZoneInfo(zone)
    today = at.astimezone(where).date()
    over = timedelta(days=1 if quiet.end < quiet.start else 0)
    for day in (today - timedelta(days=1), today):
        end = _instant(day + over, quiet.end, where)
        if _instant(day, quiet.start, where) <= at < end:
            return end
    return None


def _instant(day: date, clock: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, clock, zone).astimezone(UTC)
