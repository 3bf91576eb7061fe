"""read_page: what one product page says, with its evidence; it never raises, and only reads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from scrapers import isolate
from scrapers.decode import MAX_INLINE, Text, decode, not_text, utf8_as_it_is
from scrapers.errors import TooLargeError
from scrapers.model import (
    Outcome,
    Page,
    Reading,
    SiteRules,
)
from scrapers.readers.dom import parse
from scrapers.reconcile.page import Visit
from scrapers.structure import joins, structure

_NO_RULES = SiteRules()
AT_ONCE = 64 * 1024  # bytes of a page that may be read between two answers of a server
_Heavy = Callable[[Text, str, SiteRules, date], Reading]  # what becomes of a heavy page


class _HeavyError(Exception):
    """The page takes more than a moment to read."""


def read_page(page: Page, rules: SiteRules | None = None) -> Reading:
    """What the page says now.

    The outcome is ok, doubtful, not_product, barred, too_large or broken; whatever
    bytes the page holds, a Reading comes back.
    """
    return _safely(page, rules or _NO_RULES, _apart)


def read_at_once(page: Page, rules: SiteRules | None = None) -> Reading | None:
    """`read_page` for a page that is small and light, in milliseconds; None for any other."""
    if len(page.body) > AT_ONCE:
        return None
    try:
        return _safely(page, rules or _NO_RULES, _refused)
    except _HeavyError:
        return None


def _safely(page: Page, rules: SiteRules, heavy: _Heavy) -> Reading:
    try:
        made = _read(page, rules, heavy)
    except _HeavyError:
        raise
    except TooLargeError as error:
        made = Reading(Outcome.TOO_LARGE, error.reason)
    except RecursionError:
        made = Reading(Outcome.TOO_LARGE, "the page is nested too deep")
    except MemoryError:
        made = Reading(Outcome.TOO_LARGE, "the page needs too much memory")
    except Exception as error:  # noqa: BLE001  # the promise of this door: hostile bytes never raise
        made = Reading(Outcome.DOUBTFUL, f"the page could not be read ({type(error).__name__})")
    return made if page.complete else _cut_short(made)


def _cut_short(made: Reading) -> Reading:
    """A body whose connection closed early: its price may be kept aside, never taken."""
    if made.outcome in (Outcome.OK, Outcome.DOUBTFUL) and made.price is not None:
        return replace(made, outcome=Outcome.DOUBTFUL, reason="the page was cut short")
    if made.outcome is Outcome.BARRED:
        return made
    return replace(made, outcome=Outcome.BROKEN, reason="the page was cut short")


def _apart(text: Text, url: str, rules: SiteRules, day: date) -> Reading:
    return isolate.run("read_text", text._replace(raw=None), url, rules, day)


def _refused(_text: Text, _url: str, _rules: SiteRules, _day: date) -> Reading:
    raise _HeavyError


def _read(page: Page, rules: SiteRules, heavy: _Heavy) -> Reading:
    if not page.body.strip():
        return Reading(Outcome.BROKEN, "the page is empty")
    kind = not_text(page.body)
    if kind is not None:
        return Reading(Outcome.NOT_PRODUCT, f"the answer is {kind}, not a page")
    text, raw = _source(page)
    shape, day = structure(raw), page.fetched_at.date()
    if len(raw) > MAX_INLINE or shape.heavy or joins(raw, shape.tags):
        return heavy(text or decode(page.body, page.content_type), page.url, rules, day)
    return Visit(parse(text.text if text else None, page.url, raw), rules, day).reading()


def _source(page: Page) -> tuple[Text | None, bytes]:
    """The page's text, where it had to be decoded, and its UTF-8 bytes."""
    raw = utf8_as_it_is(page.body, page.content_type)
    if raw is not None:
        return None, raw
    text = decode(page.body, page.content_type)
    return text, text.raw if text.raw is not None else text.text.encode("utf-8", "replace")


def read_text(text: Text, url: str, rules: SiteRules, day: date) -> Reading:
    """The reading of decoded text on that day; parses it in this process."""
    return Visit(parse(text.text, url, text.raw), rules, day).reading()
