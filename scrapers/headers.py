"""What an answer's headers say of time: dates, Retry-After, how long it holds. Pure.

Seconds throughout; dates are aware UTC. Servers' clocks are evidence, never ours.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_OLDEST = 365 * 86400.0  # seconds that an Age may say
LONGEST_WAIT = 7 * 86400.0  # what a Retry-After may ask at most

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


def server_clock(headers: Mapping[str, str], now: datetime) -> datetime | None:
    """What the host's clock shows: the Date of an answer, and the Age of a stored one added.

    RFC 9111 section 4.2.3: an answer out of a cache bears the Date of its making.
    """
    date = http_date(headers.get("date", ""), now)
    age = headers.get("age", "").strip()
    if date is None or not _SECONDS.fullmatch(age):
        return date
    return date + timedelta(seconds=min(float(int(age)), _OLDEST))
