"""Whether a page with an amount in sight is about one thing for sale."""

from __future__ import annotations

import re

from scrapers.model import Availability, Tax
from scrapers.readers import details, number, ordering, pageclass, stock
from scrapers.readers.dom import Doc
from scrapers.readers.pricelike import squeeze
from scrapers.readers.visible import View
from scrapers.reconcile.court import Court
from scrapers.reconcile.notforsale import is_door

NEAR = 2  # levels above the heading within which an amount is surely of the page's own matter
FAR = 4  # the same where the page says that the goods are sold out
FEW = 4  # that many order buttons and more belong to a list
_ARTICLE = re.compile(r'"@type"\s*:\s*"(?:BlogPosting|NewsArticle|Article|HowTo|TechArticle)"')
MAX_BLOCKS = 20
_BESIDE = ("now", "gross", "net", "low")
_KINDS = ("product", "og:product", "product.item")


def looks_like_goods(doc: Doc, text: str, kind: str | None, court: Court, view: View) -> bool:
    """A price in sight counts only on a page that is about one thing for sale."""
    if _gone(court, view) or _asked(doc, court, view):
        return False
    return _looks(doc, text, kind, court, view)


def _asked(doc: Doc, court: Court, view: View) -> bool:
    """Whether the element for the price says "on request", and the amount in sight is another."""
    now = court.shown.now
    asked = pageclass.asks(doc, view.places) if now is not None else None
    return asked is not None and now is not None and (now.level > asked[0] or not now.named)


def _looks(doc: Doc, text: str, kind: str | None, court: Court, view: View) -> bool:
    buttons = ordering.buy_buttons(doc, view.places)
    if buttons >= FEW and not ordering.linked(doc, view.places):
        buttons = 1  # rows of one thing's variants, each with its button; lists link what they sell
    marked = any(t.goods and t.own for t in court.told)
    now = court.shown.now
    far = not marked and (now is None or now.level > NEAR)
    hidden = (far or (view.plain and not marked)) and pageclass.why_no_price(text).kind == "login"
    aside = not marked and _aside(doc, kind, buttons)
    if hidden or aside or 0 < buttons < FEW:
        return not (hidden or aside)
    close = ordering.ordered_within(doc, view.places, now.level) if now is not None else 0
    beside = now is not None and now.level <= NEAR and now.kind in _BESIDE
    if not beside and now is not None and now.level <= FAR and now.kind in _BESIDE:
        beside = stock.read(doc, view.places).said is Availability.OUT_OF_STOCK
    if pageclass.why_no_price(text).kind in ("withdrawn", "login", "call", "lost", "down"):
        return False
    alone = not (court.shown.rivals or view.plain) and bool(doc.headings)
    lone = not buttons or (not close and not court.shown.rivals)
    by_it = not court.shown.rivals and 0 < close < FEW  # those of other things are further off
    told = now is not None and (now.strong or now.list_amount is not None)  # "12 instead of 15"
    labelled = told and not court.shown.rivals
    if (
        by_it
        or (beside and labelled and bool(doc.headings))
        or (beside and (alone or (lone and _sells(doc, court, view))))
        or (not court.shown.rivals and _described(doc, court, view))
    ):
        return True  # the one price by the heading; where nothing can be ordered its stock too
    if max(view.cards, buttons) >= FEW:
        return False
    if len({s.amount for s in court.shown.rivals}) >= 5 and not doc.stocks:
        return False  # a list of things, none of them the page's
    marked = marked or kind in _KINDS
    return marked or bool(doc.stocks) or (view.heading is not None and not view.plain)


def _gone(court: Court, view: View) -> bool:
    """The page's own thing is withdrawn, says the text under the heading; the price is a link's."""
    now, title = court.shown.now, view.title
    box = now.node.parent if now is not None and now.node is not None else None
    if now is None or not title or box is None or box.mem_id in view.places.above:
        return False
    link = box.css_first("a[href]")
    shared = box.parent
    while shared is not None and shared.mem_id not in view.places.above:
        shared = shared.parent
    if link is None or shared is None or not link.text().strip():
        return False
    _, _, under = squeeze(view.places.text(shared)[:MAX_UNDER]).partition(title)
    before = under.partition(squeeze(link.text()))[0]
    return pageclass.why_no_price(before).kind == "withdrawn"


MAX_UNDER = 4_000


def _aside(doc: Doc, kind: str | None, buttons: int) -> bool:
    """An article, or the shop's first page: what it shows are offers of the day."""
    return (not buttons and (kind == "article" or _is_article(doc))) or is_door(doc.url)


def _is_article(doc: Doc) -> bool:
    return any(_ARTICLE.search(doc.script_text(node)) for node in doc.ldjson[:MAX_BLOCKS])


def _described(doc: Doc, court: Court, view: View) -> bool:
    """The one amount stands beside its title, or in the data sheet of one thing.

    Printed pages and plain catalogues have no button, and lists link the titles of their things.
    """
    now = court.shown.now
    if now is None or view.heading is None or now.kind not in _BESIDE or now.level > FAR:
        return False
    if now.level == 1 and now.named and not doc.headings:
        return view.heading.css_first("a") is None
    sheet = details.read(doc, view.places)
    number_told = number.read(doc, view.places) or number.read_gtin(view.places)
    signs = (number_told, sheet.brand, sheet.mpn, _sells(doc, court, view))
    return sum(map(bool, signs)) >= SIGNS


SIGNS = 2  # that many labelled details make a data sheet


def _sells(doc: Doc, court: Court, view: View) -> bool:
    now = court.shown.now
    taxed = now is not None and now.tax is not Tax.UNKNOWN
    return taxed or stock.read(doc, view.places).said is not Availability.UNKNOWN
