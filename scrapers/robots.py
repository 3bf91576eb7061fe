"""robots.txt by RFC 9309, and what a failure to fetch it means. Pure.

Stricter than the RFC where it may be: 401 and 403 count as "stay away" (the RFC
allows everything then), and 429 like a server error. 5xx and network errors
disallow all, as section 2.3.1.4 demands, until a later visit gets an answer.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from urllib.parse import urlsplit

from protego import Protego

from scrapers.model import RobotsCopy

PRODUCT_TOKEN = "ebbmark"  # noqa: S105  a name in robots.txt, no secret
MAX_AGE = timedelta(hours=24)  # RFC 9309 section 2.4
MAX_CRAWL_DELAY = 86400.0

_LINE_END = re.compile(r"\r\n|\r|\n")
# Lines that begin otherwise say nothing to us; the parser would let them end a
# group of user agents, which section 2.2.1 does not (its spellings are the parser's).
_KNOWN = re.compile(
    r"\s*(?:user[- ]?agent|allow|dissallow|disallow|dissalow|disalow|diasllow|disallaw"
    r"|crawl[- ]delay|request[- ]rate)\b",
    re.IGNORECASE,
)
_LONGEST_LINE = 16 * 1024


def robots_url(url: str) -> str:
    """Where the robots.txt of a URL's authority stands (RFC 9309 section 2.3)."""
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc}/robots.txt"


def is_fresh(copy: RobotsCopy, now: datetime) -> bool:
    """Whether a copy may still be used. A failure never may: it is asked for again."""
    if copy.state not in {"rules", "allow", "barred"}:
        return False
    return timedelta(0) <= now - copy.fetched_at <= MAX_AGE


def copy_from_status(status: int, body: bytes, now: datetime) -> RobotsCopy:
    """The copy to keep for an answer. `body`: what came of it, content encoding undone."""
    if status == 200:
        return RobotsCopy("rules", clean(body), now)
    if status in {401, 403}:
        return RobotsCopy("barred", "", now)
    if status == 429:
        return RobotsCopy("throttled", "", now)
    if 400 <= status < 500:
        return RobotsCopy("allow", "", now)
    return RobotsCopy("unreachable", "", now)


def clean(body: bytes, limit: int = 500 * 1024) -> str:
    """The lines of a robots.txt that mean something to us, within the first `limit` bytes."""
    text = body[:limit].decode("utf-8-sig", errors="replace")
    lines = (line[:_LONGEST_LINE] for line in _LINE_END.split(text))
    return "\n".join(line for line in lines if _KNOWN.match(line))


_SMALL = 16 * 1024  # characters; parsed rules take some 40 times their text in memory


@lru_cache(maxsize=16)
def _parsed_small(text: str) -> Protego:
    return Protego.parse(text)


def _parsed(text: str) -> Protego:
    return _parsed_small(text) if len(text) <= _SMALL else Protego.parse(text)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a host's robots.txt says of one URL. `crawl_delay`: seconds, at most a day."""

    allowed: bool
    crawl_delay: float | None = None


def judge(copy: RobotsCopy, url: str, token: str = PRODUCT_TOKEN) -> Verdict:
    """Whether the product `token` may ask for `url`, and how slowly.

    `Crawl-delay` and `Request-rate` are no part of RFC 9309 but widely written;
    both can only slow us down.
    """
    if copy.state != "rules":
        return Verdict(copy.state == "allow")
    rules = _parsed(copy.text)
    return Verdict(bool(rules.can_fetch(url, token)), _crawl_delay(rules, token))


def _crawl_delay(rules: Protego, token: str) -> float | None:
    rate = rules.request_rate(token)
    spaced = min(rate.seconds, MAX_CRAWL_DELAY) / min(rate.requests, MAX_CRAWL_DELAY) if rate else 0
    asked = [x for x in (rules.crawl_delay(token), spaced) if x and math.isfinite(x) and x > 0]
    return min(max(asked), MAX_CRAWL_DELAY) if asked else None
