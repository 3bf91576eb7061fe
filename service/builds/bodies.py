"""From cut lists to units of sale: what the pieces of a part's lines are cut from.

The user's own bodies go first: offcuts by size, then the whole bars or sheets that are on
hand or on their way, as the purchases say; the rest comes from what is bought.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount, Dimension, dimension, format_amount, to_base
from service.builds import texts
from service.builds.amounts import body_length, fits
from service.builds.cents import number_text, to_decimal
from service.builds.cut import Bar, Cutting, Piece, cut_bars
from service.builds.offcuts import cut_amount
from service.builds.offers import Market, Quote
from service.builds.row import Row
from service.builds.sheets import Rect, Sheets, TooLargeError, cut_sheets
from service.model.builds import Cut
from service.model.catalogue import Part

FREE = frozenset({None, "any"})  # grain that lets a rectangle turn


@dataclass(frozen=True, slots=True)
class Bodies:
    """Units of sale that the cutting takes (0: nothing is bought), and how that was found.

    `used`: the user's own bodies that are cut into; `left`: what remains of all bodies
    that are; `layout`: bars in words, each with its pieces.
    """

    units: Fraction = Fraction(0)
    note: str = ""
    used: tuple[Cut, ...] = ()
    left: tuple[Cut, ...] = ()
    layout: tuple[str, ...] = ()


def is_cut(row: Row) -> bool:
    """Whether the shape of what is sold matters, beside the plain amount."""
    line = row.line
    return bool(line.cuts or line.longest is not None or row.amount.size)


def bodies_needed(
    rows: Sequence[Row], quote: Quote, own: Sequence[Cut] = (), *, still: bool = False
) -> Bodies:
    """Bars by the cutting-stock programme, sheets by an estimate; `own` bodies go first.

    `still`: leave out what the build has taken already. Goods that are cut to length
    by the seller need no plan.
    """
    work = [row for row in rows if is_cut(row) and (not still or _open(row))]
    if not work or quote.listing.step is not None:
        return Bodies()
    size = quote.sold_as.size
    if size is not None and dimension(quote.part.unit) is not Dimension.LENGTH:
        return _from_sheets(work, quote, own, still=still)
    return _from_bars(work, quote, own, still=still)


def _open(row: Row) -> bool:
    return not row.owned and row.need > row.taken + row.included


def _kerf(rows: Iterable[Row]) -> Decimal:
    return max((row.line.kerf for row in rows), default=Decimal(0))


def _from_bars(rows: Sequence[Row], quote: Quote, own: Sequence[Cut], *, still: bool) -> Bodies:
    pieces = [piece for row in rows for piece in _lengths(row, still=still)]
    length = body_length(quote.sold_as)
    if not pieces or length is None or max(p.length for p in pieces) > length:
        return Bodies()
    mine = [Piece(cut.length, cut.count) for cut in own if cut.length is not None]
    return _bars(cut_bars(pieces, length, kerf=_kerf(rows), own=mine), quote)


def _lengths(row: Row, *, still: bool) -> Iterator[Piece]:
    """The pieces of a cut list; of a plain amount only its longest is known, and a rest below."""
    found = [Piece(cut.length, cut.count) for cut in row.line.cuts if cut.length is not None]
    if not found and row.line.longest is not None and dimension(row.line.longest.unit) is LENGTH:
        longest = to_base(row.line.longest) * 1000
        rest = to_decimal(row.need * 1000, 6) - longest
        found = [Piece(longest, 1), *([Piece(rest, 1)] if 0 < rest <= longest else [])]
    done = row.taken * 1000 if still else Fraction(0)
    for piece in sorted(found, key=lambda one: one.length, reverse=True):
        gone = min(piece.count, int(done // Fraction(piece.length)))
        done -= gone * Fraction(piece.length)
        if piece.count > gone:
            yield Piece(piece.length, piece.count - gone)


LENGTH = Dimension.LENGTH


def _bars(found: Cutting, quote: Quote) -> Bodies:
    pattern = texts.BARS if found.proved else texts.BARS_GAP
    sold_as = _one_text(quote.sold_as)
    note = pattern.format(bars=found.bars, least=found.least, sold_as=sold_as)
    return Bodies(
        Fraction(-(-found.bars // quote.sold_as.pieces)),
        note if found.bars else "",
        tuple(Cut(bar.count, bar.length) for bar in found.layout if not bar.bought),
        tuple(Cut(piece.count, piece.length) for piece in found.left),
        tuple(_bar_text(bar) for bar in found.layout),
    )


def _one_text(sold_as: Amount) -> str:
    """One bar or sheet of what is sold: `1 m` of `2 x 1 m`."""
    return format_amount(replace(sold_as, value=sold_as.value / sold_as.pieces, pieces=1))


def _bar_text(bar: Bar) -> str:
    """`2 x 1000 mm: 600 + 380, 19 left`."""
    pieces = " + ".join(number_text(piece) for piece in bar.pieces)
    return texts.BAR.format(
        count=bar.count, length=number_text(bar.length), pieces=pieces, left=number_text(bar.left)
    )


def _from_sheets(rows: Sequence[Row], quote: Quote, own: Sequence[Cut], *, still: bool) -> Bodies:
    """Lines whose grain must keep its way are cut apart from those that may turn."""
    size = quote.sold_as.size or (Decimal(0), Decimal(0))
    mine = [cut.size for cut in own if cut.size is not None for _ in range(cut.count)]
    found: list[Sheets] = []
    notes: list[str] = []
    used: list[tuple[Decimal, Decimal]] = []
    for turn in (True, False):
        group = [row for row in rows if (row.line.grain in FREE) is turn]
        rects = [rect for row in group for rect in _rects(row, quote, notes, still=still)]
        if rects:
            try:
                plan = cut_sheets(rects, size, kerf=_kerf(group), turn=turn, own=mine)
            except TooLargeError:
                continue  # what was chosen for other reasons: nothing can be cut from it
            used += [mine[place] for place in plan.used]
            mine = [body for place, body in enumerate(mine) if place not in plan.used]
            found.append(plan)
    sheets, least = sum(x.sheets for x in found), sum(x.least for x in found)
    if sheets > least:
        sold_as = _one_text(quote.sold_as)
        notes.append(texts.SHEETS.format(sheets=sheets, sold_as=sold_as))
    return Bodies(
        Fraction(-(-sheets // quote.sold_as.pieces)),
        "; ".join(notes),
        tuple(Cut(1, size=body) for body in used),
        tuple(Cut(r.count, size=(r.long, r.wide)) for plan in found for r in plan.offcuts),
    )


def _rects(row: Row, quote: Quote, notes: list[str], *, still: bool) -> Iterator[Rect]:
    """The rectangles of a cut list, else those of the amount that fit in one sheet."""
    done = row.taken * 1_000_000 if still else Fraction(0)
    for rect in sorted(_wanted(row, quote, notes), key=_area, reverse=True):
        gone = min(rect.count, int(done // _area(rect)))
        done -= gone * _area(rect)
        if rect.count > gone:
            yield Rect(rect.long, rect.wide, rect.count - gone)


def _area(rect: Rect) -> Fraction:
    return Fraction(rect.long) * Fraction(rect.wide)


def _wanted(row: Row, quote: Quote, notes: list[str]) -> list[Rect]:
    found = [Rect(cut.size[0], cut.size[1], cut.count) for cut in row.line.cuts if cut.size]
    if found or row.amount.size is None:
        return found
    if fits(row.amount.size, quote.sold_as, row.line.grain):
        return [Rect(row.amount.size[0], row.amount.size[1], row.amount.pieces)]
    where = format_amount(quote.sold_as)
    notes.append(texts.JOINED.format(what=format_amount(row.amount), where=where))
    return []


def own_bodies(
    rows: Sequence[Row], quote: Quote, market: Market, *, coming: bool = True
) -> list[Cut]:
    """What of the user's own the cut lists of a part may be made from, offcuts first.

    `rows`: all lines of the part; those that are not cut take their amounts beside.
    `coming`: count on what is on its way, too.
    """
    part, stock = quote.part, market.stock(quote.part.key)
    if stock is None or not any(is_cut(row) for row in rows):
        return []
    plain = [row for row in rows if not is_cut(row)]
    beside = sum((row.on_hand for row in plain), Fraction(0))
    amount = Fraction(stock.free) - beside
    amount -= sum((cut_amount(cut) for cut in stock.offcuts), Fraction(0))
    if coming:
        amount += Fraction(stock.coming) - sum((row.coming for row in plain), Fraction(0))
    held = [
        (Fraction(one.purchase.content), one.amount)
        for one in (market.view.holdings or {}).get("", ())
        if one.purchase.part == part.key
    ] or [(quote.content, amount)]
    lots = held[::-1] if coming else held  # what is begun is the oldest, what comes the newest
    begun = not stock.offcuts
    offcuts = without_smallest(stock.offcuts, min(beside, -amount))
    return [*offcuts, *_whole(amount, lots, quote, market, begun=begun)]


def without_smallest(cuts: Sequence[Cut], amount: Fraction) -> list[Cut]:
    """The bodies that are left where `amount` base units went out of them, small ones first."""
    kept: list[Cut] = []
    for cut in sorted(cuts, key=lambda one: cut_amount(replace(one, count=1))):
        each = cut_amount(replace(cut, count=1))
        gone = min(cut.count, max(0, -(-amount // each))) if each else 0
        amount -= gone * each
        if cut.count > gone:
            kept.append(replace(cut, count=cut.count - gone))
    return kept


def _whole(
    amount: Fraction,
    lots: Iterable[tuple[Fraction, Fraction]],
    quote: Quote,
    market: Market,
    *,
    begun: bool,
) -> Iterator[Cut]:
    """Bars and sheets as they were bought. `begun`: also the rest of a bar."""
    part = quote.part
    for content, have in lots:
        there = max(Fraction(0), min(amount, have))
        body = _body(part, content, quote, market)
        units = int(there // content)
        rest = there - units * content
        amount -= there if begun else units * content
        if units and body is not None:
            yield Cut(units * body.count, body.length, body.size)
        if rest and begun and dimension(part.unit) is LENGTH:
            yield Cut(1, to_decimal(rest * 1000, 6))


def _body(part: Part, content: Fraction, quote: Quote, market: Market) -> Cut | None:
    """The bodies of a unit of sale that holds so much: by the listing that sells it so."""
    sold = [quote.sold_as]
    sold += [s.amount for x in market.listings(part.key) if (s := x.holds(part.key))]
    for amount in sold:
        if market.base(amount, part) == content:
            return _one_of(amount, part, content)
    return Cut(1, to_decimal(content * 1000, 6)) if dimension(part.unit) is LENGTH else None


def _one_of(amount: Amount, part: Part, content: Fraction) -> Cut | None:
    if dimension(part.unit) is LENGTH:
        return Cut(amount.pieces, to_decimal(content / amount.pieces * 1000, 6))
    return None if amount.size is None else Cut(amount.pieces, size=amount.size)
