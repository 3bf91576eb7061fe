"""When a host may be visited again, and what to do after a failure. Pure.

All times are aware UTC or seconds. Nothing here shortens a gap: every rule can
only add to it.
"""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from scrapers.model import Outcome, Visited

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

GAP = 10.0  # seconds from the end of a visit to the start of the next
GAP_FLOOR = 2.0
DAILY_CAP = 2000  # visits to one host in a UTC day
LONGEST_WAIT = 7 * 86400.0  # what a Retry-After may ask at most
LONGEST_CRAWL_DELAY = 86400.0
MISSING = "missing"  # the reason of a first 404
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


def effective_gap(asked: float | None, *, allowed: bool) -> float:
    """The gap of a host in seconds: as asked, at least the floor; 0 for allowed hosts.

    `allowed`: the settings name the host as one that may be loopback; then a gap
    holds only where one is asked for.
    """
    if allowed:
        return max(0.0, asked or 0.0)
    return max(GAP_FLOOR, GAP if asked is None else asked)


def next_allowed(  # noqa: PLR0913, PLR0917  one rule, all that bears on it
    now: datetime,
    gap: float,
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
    Retry-After counts.
    """
    waits = [gap, (backoff or Backoff()).after(outcome, failures)]
    if crawl_delay is not None and math.isfinite(crawl_delay):
        waits.append(min(crawl_delay, LONGEST_CRAWL_DELAY))
    if retry_after is not None and math.isfinite(retry_after):
        waits.append(min(retry_after, LONGEST_WAIT))
    return now + timedelta(seconds=max(0.0, *waits))


def is_host_failure(visited: Visited) -> bool:
    """Whether a visit's end says something of the whole host, not of its one page."""
    if visited.outcome is Outcome.UNREACHABLE:
        return visited.reason != MISSING
    if visited.outcome is Outcome.BARRED:
        return visited.reason != ROBOTS_BAR
    return visited.outcome is Outcome.THROTTLED


def spread(listing_key: str, every: timedelta) -> timedelta:
    """A listing's own place within its interval: stable, the same on every machine."""
    digest = hashlib.sha256(listing_key.encode()).digest()
    return every * (int.from_bytes(digest[:8]) / 2**64)


def next_slot(now: datetime, every: timedelta, listing_key: str) -> datetime:
    """The listing's first own moment after `now`, on a grid of `every` from the epoch."""
    epoch = datetime.fromtimestamp(0, tz=UTC)
    start = epoch + spread(listing_key, every)
    return start + ((now - start) // every + 1) * every


def feasible_every(listings: int, gap: float, every: timedelta) -> timedelta:
    """The shortest interval at which `listings` pages of one host can be kept, at least `every`.

    The daily cap counts as well as the gap.
    """
    shortest = max(gap, 86400.0 / DAILY_CAP) if gap > 0 else 0.0
    return max(every, timedelta(seconds=listings * shortest))


def day_of(now: datetime) -> int:
    """The number of the UTC day, for counting a host's visits."""
    return int(now.timestamp() // 86400)


def after_cap(now: datetime) -> datetime:
    """When a host whose daily cap is used up may be visited again."""
    return datetime.fromtimestamp((day_of(now) + 1) * 86400, tz=UTC)


_MONTHS = {
    name: number
    for number, name in enumerate(
        ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"), 1
    )
}
_TIME = r"(?P<h>[0-9]{2}):(?P<m>[0-9]{2}):(?P<s>[0-9]{2})"
# The three forms that RFC 9110 section 5.6.7 has every recipient accept.
_DATES = (
    re.compile(
        r"[A-Z][a-z]{2}, (?P<day>[0-9]{2}) (?P<mon>[A-Z][a-z]{2}) (?P<year>[0-9]{4}) "
        + _TIME + " GMT"
    ),
    re.compile(
        r"[A-Z][a-z]{5,8}, (?P<day>[0-9]{2})-(?P<mon>[A-Z][a-z]{2})-(?P<year>[0-9]{2}) "
        + _TIME + " GMT"
    ),
    re.compile(
        r"[A-Z][a-z]{2} (?P<mon>[A-Z][a-z]{2}) (?P<day>[ 0-9][0-9]) "
        + _TIME + " (?P<year>[0-9]{4})"
    ),
)  # fmt: skip


def http_date(text: str, now: datetime) -> datetime | None:
    """A date of HTTP in any of its three forms, or None. `now` settles two-digit years."""
    for form in _DATES:
        match = form.fullmatch(text)
        if match is not None:
            return _date(match, now)
    return None


def _date(match: re.Match[str], now: datetime) -> datetime | None:
    year, month = int(match["year"]), _MONTHS.get(match["mon"])
    if month is None:
        return None
    if len(match["year"]) == 2:
        year = _full_year(year, now)
    second = min(int(match["s"]), 59)  # a leap second is the end of its minute
    try:
        return datetime(
            year, month, int(match["day"]), int(match["h"]), int(match["m"]), second, tzinfo=UTC
        )
    except ValueError:
        return None


def _full_year(two_digits: int, now: datetime) -> int:
    """RFC 9110 section 5.6.7: more than 50 years ahead means the century before."""
    year = now.year - now.year % 100 + two_digits
    return year - 100 if year > now.year + 50 else year


_SECONDS = re.compile(r"[0-9]{1,20}")


def retry_after(value: str | None, now: datetime) -> float | None:
    """Seconds that a Retry-After asks for, within 0 and seven days; None if it says nothing.

    RFC 9110 section 10.2.3: whole seconds in ASCII digits, or a date.
    """
    if value is None:
        return None
    text = value.strip(" \t")
    if _SECONDS.fullmatch(text):
        return min(float(int(text)), LONGEST_WAIT)
    date = http_date(text, now)
    if date is None:
        return None
    return min(max(0.0, (date - now).total_seconds()), LONGEST_WAIT)


def _directives(value: str) -> dict[str, str]:
    pairs = (part.partition("=") for part in value.split(","))
    return {name.strip().lower(): text.strip().strip('"') for name, _, text in pairs}


def freshness_lifetime(
    headers: Mapping[str, str], now: datetime, *, shared: bool = False
) -> float | None:
    """Seconds for which an answer says that it holds (RFC 9111 section 4.2.1 and 4.2.2).

    `headers` by lower-case name. Without an explicit lifetime a tenth of the time
    since Last-Modified, the typical heuristic; None where nothing is known.
    """
    control = _directives(headers.get("cache-control", ""))
    for name in ("s-maxage", "max-age") if shared else ("max-age",):
        if _SECONDS.fullmatch(control.get(name, "")):
            return float(int(control[name]))
    date = http_date(headers.get("date", ""), now) or now
    if "expires" in headers:
        expires = http_date(headers["expires"], now)
        return max(0.0, (expires - date).total_seconds()) if expires else 0.0
    modified = http_date(headers.get("last-modified", ""), now)
    return max(0.0, (date - modified).total_seconds() / 10) if modified else None


def current_age(
    *, age_value: float, date_value: float, request_time: float, response_time: float, now: float
) -> float:
    """Seconds since an answer was made (RFC 9111 section 4.2.3). All times on one clock."""
    apparent = max(0.0, response_time - date_value)
    corrected = age_value + (response_time - request_time)
    return max(apparent, corrected) + (now - response_time)


def is_fresh(lifetime: float, age: float) -> bool:
    """RFC 9111 section 4.2: fresh while the lifetime is longer than the age."""
    return lifetime > age


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


def clock_offset(visits: Sequence[Visited], *, tolerance: float = 300.0) -> float | None:
    """Seconds by which this machine's clock differs from what hosts say; None if it does not.

    The median over the visits whose answer bore a Date; three hosts at least.
    """
    offsets = sorted(
        (v.server_date - v.finished_at).total_seconds() for v in visits if v.server_date
    )
    if len(offsets) < 3:
        return None
    middle = offsets[len(offsets) // 2]
    return middle if abs(middle) > tolerance else None
