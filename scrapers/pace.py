"""When a host may be visited again, and what to do after a failure. Pure.

All times are aware UTC or seconds. Nothing here shortens a gap: every rule can
only add to it.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from scrapers.model import Outcome, Visited

if TYPE_CHECKING:
    from collections.abc import Sequence

LONGEST_WAIT = 7 * 86400.0  # however long a host asks to be left alone
LONGEST_CRAWL_DELAY = 86400.0
# The host must see the whole gap: the end of a visit may reach it later than us, and the
# start of the next one sooner.
MARGIN = 0.05
MISSING = "missing"  # the reason of a first 404
ELSEWHERE = "the host that this leads to has another visit; it is asked at another time"
ROBOTS_BAR = "robots.txt disallows this page"


@dataclass(frozen=True, slots=True)
class Backoff:
    """Seconds to wait after the first failure of a kind; doubled at each further one."""

    unreachable: float = 60.0
    throttled: float = 300.0
    barred: float = 3600.0
    longest: float = 86400.0

    def after(self, outcome: Outcome, failures: int) -> float:
        """Seconds to wait after `failures` failed visits in a row; 0 where none counts."""
        first = {
            Outcome.UNREACHABLE: self.unreachable,
            Outcome.THROTTLED: self.throttled,
            Outcome.BARRED: self.barred,
        }.get(outcome)
        if first is None or failures < 1:
            return 0.0
        return float(min(self.longest, first * 2.0 ** min(failures - 1, 40)))


def next_allowed(
    now: datetime,
    gap: timedelta,
    crawl_delay: float | None,
    retry_after: float | None,
    outcome: Outcome,
    failures: int,
    *,
    backoff: Backoff | None = None,
) -> datetime:
    """When the host may be visited again, a visit having ended at `now`.

    `failures`: failed visits of the host in a row with this one (see `is_host_failure`);
    0 where this one did not fail. The longest of gap, Crawl-delay, back-off and
    Retry-After counts, and a margin for the way to the host.
    """
    waits = [gap.total_seconds(), (backoff or Backoff()).after(outcome, failures)]
    if crawl_delay is not None and math.isfinite(crawl_delay):
        waits.append(min(crawl_delay, LONGEST_CRAWL_DELAY))
    if retry_after is not None and math.isfinite(retry_after):
        waits.append(min(retry_after, LONGEST_WAIT))
    longest = max(waits)
    return now + timedelta(seconds=longest + MARGIN if longest > 0 else 0.0)


def is_host_failure(visited: Visited) -> bool:
    """Whether a visit's end says something of the whole host, not of its one page."""
    if visited.outcome is Outcome.UNREACHABLE:
        return visited.reason not in {MISSING, ELSEWHERE}
    if visited.outcome is Outcome.BARRED:
        return visited.reason != ROBOTS_BAR
    return visited.outcome is Outcome.THROTTLED


def spread(listing_key: str, every: timedelta) -> timedelta:
    """A listing's own place within its interval: stable, the same on every machine."""
    digest = hashlib.sha256(listing_key.encode()).digest()
    return every * ((int.from_bytes(digest[:8]) >> 11) / 2**53)


def feasible_every(listings: int, gap: timedelta, every: timedelta, *, daily_cap: int) -> timedelta:
    """The shortest interval that `listings` pages of one host allow, at least `every`.

    5,000 pages at a gap of 10 s take 13.9 h a round: the interval grows, the gap
    does not shrink. The cap on a day's visits counts as well.
    """
    if gap <= timedelta(0):
        return every
    return max(every, listings * max(gap, timedelta(days=1) / daily_cap))


def network_suspect(visits: Sequence[Visited], hosts: Sequence[str]) -> bool:
    """Whether one pass over several hosts looks like our own network failing.

    `hosts[i]` is the host of `visits[i]`. True where every host of at least three
    was unreachable, or where at least three were all led to one foreign page
    (a sign-on page of the network).
    """
    if len(set(hosts)) < 3:
        return False
    if all(v.outcome is Outcome.UNREACHABLE and v.reason != MISSING for v in visits):
        return True
    landed = {v.page.url if v.page else v.url for v in visits}
    return len(landed) == 1


def clock_ahead(visited: Visited) -> float | None:
    """Seconds by which the host's clock is ahead of ours; None where it did not say."""
    if visited.server_date is None:
        return None
    return (visited.server_date - visited.finished_at).total_seconds()


def clock_offset(ahead: Sequence[float], *, tolerance: float = 300.0) -> float | None:
    """Seconds by which hosts' clocks are ahead of this machine's; None where ours is right.

    `ahead`: one figure a host (see `clock_ahead`). Their median; three hosts at least.
    """
    if len(ahead) < 3:
        return None
    middle = sorted(ahead)[len(ahead) // 2]
    return middle if abs(middle) > tolerance else None
