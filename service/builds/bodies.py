"""From cut lists to units of sale: how many bars or sheets the pieces of some lines take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount, format_amount
from service.builds import texts
from service.builds.amounts import body_length, fits
from service.builds.cut import Cutting, Piece, Rect, Sheets, cut_bars, cut_sheets
from service.builds.offers import Quote
from service.model.builds import Cut, Line

Piecework = tuple[Line, Amount]
FREE = frozenset({None, "any"})  # grain that lets a rectangle turn


@dataclass(frozen=True, slots=True)
class Bodies:
    """Units of sale that the cutting takes (0: nothing is cut), and how that was found."""

    units: Fraction = Fraction(0)
    note: str = ""


def bodies_needed(work: Sequence[Piecework], quote: Quote, own: Sequence[Cut]) -> Bodies:
    """Bars by the cutting-stock programme, sheets by an estimate; `own` offcuts go first."""
    size = quote.sold_as.size
    if size is not None and quote.listing.step is None:
        return _sheets(work, quote, size)
    length = body_length(quote.sold_as)
    pieces = [
        Piece(cut.length, cut.count)
        for line, _ in work
        for cut in line.cuts
        if cut.length is not None
    ]
    if not pieces or length is None or max(p.length for p in pieces) > length:
        return Bodies()
    kerf = max((line.kerf for line, _ in work), default=Decimal(0))
    mine = [Piece(cut.length, cut.count) for cut in own if cut.length is not None]
    return _bars(cut_bars(pieces, length, kerf=kerf, own=mine), quote)


def _bars(found: Cutting, quote: Quote) -> Bodies:
    pattern = texts.BARS if found.proved else texts.BARS_GAP
    sold_as = format_amount(quote.sold_as)
    note = pattern.format(bars=found.bars, least=found.least, sold_as=sold_as)
    return Bodies(Fraction(-(-found.bars // quote.sold_as.pieces)), note if found.bars else "")


def _sheets(work: Sequence[Piecework], quote: Quote, size: tuple[Decimal, Decimal]) -> Bodies:
    """Lines whose grain must keep its way are cut apart from those that may turn."""
    found: list[Sheets] = []
    notes: list[str] = []
    for turn in (True, False):
        mine = [(line, amount) for line, amount in work if (line.grain in FREE) is turn]
        rects = [rect for line, amount in mine for rect in _rects(line, amount, quote, notes)]
        kerf = max((line.kerf for line, _ in mine), default=Decimal(0))
        if rects:
            found.append(cut_sheets(rects, size, kerf=kerf, turn=turn))
    sheets, least = sum(x.sheets for x in found), sum(x.least for x in found)
    if sheets > least:
        sold_as = format_amount(quote.sold_as)
        notes.append(texts.SHEETS.format(sheets=sheets, sold_as=sold_as))
    return Bodies(Fraction(-(-sheets // quote.sold_as.pieces)), "; ".join(notes))


def _rects(line: Line, amount: Amount, quote: Quote, notes: list[str]) -> list[Rect]:
    """The rectangles of a cut list, else those of the amount that fit in one sheet."""
    found = [Rect(cut.size[0], cut.size[1], cut.count) for cut in line.cuts if cut.size]
    if found or amount.size is None:
        return found
    if fits(amount.size, quote.sold_as, line.grain):
        return [Rect(amount.size[0], amount.size[1], amount.pieces)]
    where = format_amount(quote.sold_as)
    notes.append(texts.JOINED.format(what=format_amount(amount), where=where))
    return []
