"""The amounts that a visitor sees in the page's own matter, each with what it is."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Evidence, Multibuy, Tax
from scrapers.readers import ordering, stock, styles
from scrapers.readers.claims import Seen
from scrapers.readers.dom import Doc
from scrapers.readers.headings import heading_of
from scrapers.readers.leaves import leaves
from scrapers.readers.places import Places
from scrapers.readers.pricelike import AMOUNT, CURRENCY, squeeze
from scrapers.readers.said import prints, text_of
from scrapers.readers.sight import Reader

FAR = 4  # levels above the heading: what first comes there may be another thing's price
_PAID = ("now", "low", "gross", "net")
_PLAIN_TAGS = "h2,h3,h4,h5,p,li,td,th,dd,dt,b,strong,em,i,span,div,font,big,label,center,u,button"


@dataclass(slots=True)
class View:
    """What the page shows: its heading and the amounts around it."""

    heading: LexborNode | None
    title: str | None
    places: Places
    seen: tuple[Seen, ...] = ()
    multibuy: tuple[Multibuy, ...] = ()
    doubts: tuple[str, ...] = ()
    proofs: tuple[Evidence, ...] = ()  # of amounts that rows of quantities tell
    cards: int = 0
    elsewhere: int = 0
    garbled: bool = False
    plain: bool = False


def view(doc: Doc, names: list[str]) -> View:
    """The page as seen. `names`: titles that other sources gave, best first."""
    heading = heading_of(doc, names)
    places = Places(heading, doc.tree.root, styles.struck(doc))
    title = squeeze(heading.text(separator=" ")[:4000]) if heading is not None else None
    return View(heading, title, places)


def look(
    doc: Doc,
    found: View,
    locale: str | None,
    currency: str | None,
    expected: Sequence[Decimal] = (),
    taxed: Callable[[Sequence[Seen]], Collection[Decimal]] = lambda _: (),
    *,
    settled: bool = True,
) -> View:
    """Fill the view with amounts; page-wide hints settle "$" and separators.

    `expected`: prices that markup states; `taxed`: gives these and others with a country's tax;
    `settled`: whether markup states one price and its currency, not a range.
    Text whose classes say nothing is searched where neither markup nor a named element
    shows a price, or where the two do not meet.
    """
    held, elsewhere = leaves(doc.priced, found.places)
    reader = Reader(found.places, found.title, locale, currency)
    reader.take(held)
    paid = any(s.kind in (*_PAID, "regular") and (expected or s.level <= FAR) for s in reader.seen)
    struck = any(s.kind == "list" for s in reader.seen)
    met = any(s.amount in expected and s.kind != "list" for s in reader.seen)
    regular = paid and not expected and not any(s.kind in _PAID for s in reader.seen)
    nets = _only_net(reader.seen)
    apart = _apart(reader.seen, found.places, expected) if paid and not regular else 0
    if not paid or (expected and not met) or regular or apart or nets:
        named = list(reader.seen)
        once = (
            bool(expected)
            or any(s.kind != "list" for s in named)
            or not _sold_out(doc, found.places)
        )
        extra = _take_plain(reader, doc, found, once=once)
        silent = not _tells_more(reader.seen, expected, settled=settled)
        if expected and not paid and not struck and silent:
            # plain text is asked only for a list price or a tax
            pair = _pair(reader.seen, expected, found.places) or _end(reader.seen, expected)
            pair = pair or _with_tax(reader.seen, expected, currency, taxed(()))
            reader.seen = [
                *named,
                *(pair or _instead(reader.seen, expected, currency, doc, found.places)),
            ]
        if nets:
            gross = set(taxed(nets))
            plain = [s for s in reader.seen[len(named) :] if s.kind in _PAID and s.amount in gross]
            reader.seen = [*named, *plain]
        nearer = bool(apart) and any(
            s.level < apart and (expected or s.kind in _PAID) for s in reader.seen
        )
        if nearer:
            reader.seen = [s for s in reader.seen if s.level < apart]
        elif apart and not expected:
            reader.seen = named
        found.plain = not paid or nearer
        elsewhere += extra
    priced = bool(expected) or any(s.kind in (*_PAID, "regular") for s in reader.seen)
    if (reader.alone or reader.asides) and not priced:
        reader.take_alone()
    found.seen = tuple(reader.seen)
    found.multibuy = tuple(dict.fromkeys(reader.multibuy))
    found.doubts = tuple(reader.doubts)
    found.cards, found.elsewhere, found.garbled = reader.cards, elsewhere, reader.garbled
    return found


def _only_net(seen: list[Seen]) -> list[Seen]:
    """Prices without tax, where named elements show no other: text may hold the one with tax."""
    paid = [s for s in seen if s.kind in (*_PAID, "regular")]
    net = all(s.kind == "net" and s.tax is Tax.EXCLUDED for s in paid)
    return paid if net else []


def _apart(seen: list[Seen], places: Places, expected: Sequence[Decimal]) -> int:
    """The level of the nearest named price, if it shares no more than the body with the heading.

    0 where it is nearer or the markup's: else it is that of a banner or a dialog.
    """
    named = [s for s in seen if s.kind in _PAID]
    if any(s.amount in expected for s in named):
        return 0
    nearest = min((s.level for s in named), default=0)
    return nearest if nearest >= places.body > 1 else 0


MOST_TAX = Decimal("1.3")


def _with_tax(
    seen: list[Seen],
    expected: Sequence[Decimal],
    currency: str | None,
    taxed: Collection[Decimal],
) -> list[Seen]:
    """Amounts that say to hold the tax which the markup's price leaves out, or hold it exactly."""
    if any(s.amount in expected and s.tax is Tax.INCLUDED for s in seen):
        return []  # the markup's price holds it
    gross = [
        s
        for s in seen
        if s.list_amount is None
        and (s.kind == "gross" or (s.kind == "now" and s.level <= FAR and s.amount in taxed))
    ]
    near = [s for s in gross if any(e < s.amount <= e * MOST_TAX for e in expected)]
    return [s for s in near if s.currency in (None, currency)]


def _pair(seen: list[Seen], expected: Sequence[Decimal], places: Places) -> list[Seen]:
    """The markup's price and the one higher amount beside it that a printed saving leads from."""
    plain = [s for s in seen if s.kind in ("now", "gross") and s.low is None]
    held = next((s for s in plain if s.amount in expected), None)
    others = [s for s in plain if held and s.parent == held.parent and s.amount > held.amount]
    if held is None or held.node is None or len({s.amount for s in others}) != 1:
        return []
    old = others[0].amount
    if any(s.kind == "saving" and s.amount == old - held.amount for s in seen):
        return [held, others[0]]
    block = held.node.parent.parent if held.node.parent is not None else None
    near = places.text(block) if block is not None else ""
    rates = _RATE.findall(near) if len(near) <= MAX_NEAR else []
    fits = any(abs((1 - held.amount / old) * 100 - int(rate)) <= 1 for rate in rates)
    return [held, others[0]] if fits else []


def _instead(
    seen: list[Seen], expected: Sequence[Decimal], currency: str | None, doc: Doc, places: Places
) -> list[Seen]:
    """The one sum beside heading and order button, where the page prints no price of the markup.

    Several, where all are in another currency than the markup's.
    """
    paid = [s for s in seen if s.kind in ("now", "gross") and s.level <= NEAR and s.currency]
    foreign = bool(paid) and not any(s.currency == currency for s in paid)
    alone = len({s.amount for s in paid}) == 1
    if not (alone or foreign) or any(s.amount in expected for s in seen):
        return []
    text = text_of(doc)
    told = any(prints(text, price) for price in expected)
    return paid if not told and ordering.ordered_within(doc, places, NEAR) else []


NEAR = 2  # levels above the heading: farther off stand other things
MAX_NEAR = 600
_RATE = re.compile(r"(?<![\d.,])(\d{1,2})\s?%")


def _end(seen: list[Seen], expected: Sequence[Decimal]) -> list[Seen]:
    """The lower end of the markup's range, where the page shows it alone ("34.00+", "from 34")."""
    paid = [s for s in seen if s.kind in ("now", "gross", "low") and s.level <= FAR]
    level = min((s.level for s in paid), default=0)
    near = [s for s in paid if s.level == level and s.high is None]
    near = [s for s in near if s.kind == "low"] or near
    alone = len(set(expected)) > 1 and len({s.amount for s in near}) == 1
    return near[:1] if alone and near[0].amount == min(expected) else []


def _within(amount: Decimal, expected: Sequence[Decimal]) -> bool:
    return bool(expected) and min(expected) <= amount <= max(expected)


def _tells_more(seen: list[Seen], expected: Sequence[Decimal], *, settled: bool) -> bool:
    """Whether plain text calls the markup's price net, or shows it below a list price.

    Where the markup leaves price or currency open, an amount of the range is enough.
    """
    backed = [s for s in seen if s.amount in expected]
    if not settled and any(s.currency and _within(s.amount, expected) for s in seen):
        return True
    net = any(s.kind == "net" or s.tax is Tax.EXCLUDED for s in backed)
    listed = any(s.kind in ("list", "regular") for s in seen)
    return net or bool(backed and listed)


def _take_plain(reader: Reader, doc: Doc, found: View, *, once: bool) -> int:
    """Plain text around the heading, further out while it shows nothing that could be paid."""
    named, cards, elsewhere = list(reader.seen), reader.cards, 0
    block = _plain_block(doc, found)
    for _ in range(1 if once else MAX_BLOCKS):
        if block is None:
            break
        reader.seen, reader.cards = list(named), cards
        more, elsewhere = leaves(block.css(_PLAIN_TAGS)[:3_000], found.places, plain=True)
        reader.take(more, plain=True)
        if any(s.kind in _PAID for s in reader.seen[len(named) :]):
            break
        block = block.parent if block.tag != "body" else None
    return elsewhere


def _sold_out(doc: Doc, places: Places) -> bool:
    """Without a button to tell which block sells, the price may stand further out."""
    return stock.read(doc, places).said is Availability.OUT_OF_STOCK


MAX_BLOCKS = 3


def _plain_block(doc: Doc, found: View) -> LexborNode | None:
    """The block around the heading that has amounts, and the order button where there is one."""
    at, best = found.heading or doc.tree.body, None
    bought, below = _around_button(doc, found.places), 0
    for _ in range(12):
        if at is None or at.tag in (None, "html", "-undef"):
            break
        if at.tag == "body" and best is None and below in bought:
            return None  # what else the page shows lies outside the block that sells
        below = at.mem_id
        text = at.text(separator=" ")
        if len(text) > 60_000:
            break
        rest = text.replace(found.title or "\0", "", 1)
        if best is None and any(
            CURRENCY.search(rest[max(0, m.start() - 8) : m.end() + 6])
            for m in AMOUNT.finditer(rest)
        ):
            best = at
        if best is not None and (not bought or at.mem_id in bought):
            best = at
            break
        at = at.parent
    return best


def _around_button(doc: Doc, places: Places) -> set[int]:
    """The elements around the order button nearest the heading: price and button go together."""
    buttons = ordering.orderers(doc, places)
    if not buttons:
        return set()
    at: LexborNode | None = min(buttons, key=lambda n: places.of(n).level)
    around: set[int] = set()
    while at is not None and len(around) < MAX_ABOVE:
        around.add(at.mem_id)
        at = at.parent
    return around


MAX_ABOVE = 200
