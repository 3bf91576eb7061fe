"""Markup with a price on a page that does not sell for it: articles, doors, ended auctions."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

from scrapers.model import Availability, Source
from scrapers.readers import ordering, pageclass
from scrapers.readers.dom import Doc
from scrapers.readers.said import prints
from scrapers.readers.visible import View
from scrapers.reconcile.court import Court, Verdict
from scrapers.reconcile.names import akin
from scrapers.reconcile.told import Told

DOORS = frozenset({"", "/", "/index.html", "/index.htm", "/index.php", "/home"})
MANY = 4  # cards of other things: a page that lists them


def not_for_sale(
    doc: Doc, kind: str | None, text: Callable[[], str], court: Court, verdict: Verdict, view: View
) -> str:
    """Why the markup's price is none of this page's; "" where it may be. `kind`: as metas say."""
    told = verdict.told
    if told is None or not told.own or told.price is None:
        return ""
    if _gone(told, court, text):
        return "the product is no longer sold"
    if told.availability is Availability.OUT_OF_STOCK and pageclass.auction_ended(text()):
        return "the auction has ended"
    if told.title and (kind == "article" or is_door(doc.url)) and not _titled(told.title, doc):
        return f"the page is about something else than the markup's {told.title[:40]!r}"
    if told.source is Source.META and _lists(doc, court, view):
        return "the page lists other products, none its own"
    return ""


def is_door(url: str) -> bool:
    """Whether an address is a shop's front page."""
    try:
        parts = urlsplit(url)
    except ValueError:
        return False
    return not parts.query and parts.path.casefold() in DOORS


def _gone(told: Told, court: Court, text: Callable[[], str]) -> bool:
    """Withdrawn, says markup and page, and the last price stands in the markup only."""
    if told.availability is not Availability.DISCONTINUED or court.shown.now is not None:
        return False
    said = pageclass.why_no_price(text()).kind == "withdrawn"
    return said and told.price is not None and prints(text(), told.price) is None


def _titled(name: str, doc: Doc) -> bool:
    return not doc.titles or akin(name, doc.titles[0])


def _lists(doc: Doc, court: Court, view: View) -> bool:
    """Many products in sight, "from" a price, and nothing of its own to order."""
    now = court.shown.now
    listed = view.cards + view.elsewhere >= MANY and now is not None and now.kind == "low"
    return (
        listed
        and not any(t.source is not Source.META for t in court.told)
        and not (ordering.buy_buttons(doc, view.places))
    )
