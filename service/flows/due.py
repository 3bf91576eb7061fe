"""When a listing is visited next: spread by a stable hash, backed off after failures."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from scrapers import Outcome, spread

AGAIN_SOON = timedelta(minutes=15)  # a doubtful reading wants a second look
FULL_EVERY = timedelta(days=7)  # validators are left out once a week
LONGEST_WAIT = timedelta(hours=24)
GONE_CHECK = timedelta(days=7)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def next_slot(key: str, every: timedelta, now: datetime) -> datetime:
    """The next time after `now` in the listing's own rhythm.

    Slots lie `every` apart, shifted by a hash of the key, so that the polls of
    a day spread evenly and stay where they are over restarts.
    """
    offset = spread(key, every)
    passed = (now - _EPOCH - offset) // every
    return _EPOCH + offset + every * (passed + 1)


def next_due(
    key: str, every: timedelta, now: datetime, outcome: Outcome, failures: int
) -> datetime:
    """When to visit again after `outcome`; `failures`: in a row, this one included."""
    if outcome in (Outcome.OK, Outcome.UNCHANGED):
        return next_slot(key, every, now)
    if outcome is Outcome.DOUBTFUL:
        again: timedelta = AGAIN_SOON * 2 ** min(failures, 6)
        return min(now + again, next_slot(key, every, now))
    if outcome is Outcome.GONE:
        return now + GONE_CHECK
    step = every / 6 if outcome is Outcome.UNREACHABLE else every
    wait: timedelta = step * 2 ** min(max(failures - 1, 0), 8)
    return now + min(max(wait, AGAIN_SOON), max(LONGEST_WAIT, every))
