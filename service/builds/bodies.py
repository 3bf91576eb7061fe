"""From cut lists to units of sale: how many bars or sheets the pieces of some lines take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount, format_amount
from service.builds import texts
from service.builds.amounts import body_length
from service.builds.cut import Cutting, Piece, Rect, Sheets, cut_bars, cut_sheets
from service.builds.offers import Quote
from service.model.builds import Cut, Line

Piecework = tuple[Line, Amount]


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
    rects = [rect for line, amount in work for rect in _rects(line, amount)]
    if not rects:
        return Bodies()
    kerf = max((line.kerf for line, _ in work), default=Decimal(0))
    turn = all(line.grain in {None, "any"} for line, _ in work)
    return _sheet_units(cut_sheets(rects, size, kerf=kerf, turn=turn), quote)


def _sheet_units(found: Sheets, quote: Quote) -> Bodies:
    note = texts.SHEETS.format(sheets=found.sheets, sold_as=format_amount(quote.sold_as))
    units = Fraction(-(-found.sheets // quote.sold_as.pieces))
    return Bodies(units, note if found.sheets > found.least else "")


def _rects(line: Line, amount: Amount) -> list[Rect]:
    """The rectangles of a cut list, else those that the amount itself names."""
    found = [Rect(cut.size[0], cut.size[1], cut.count) for cut in line.cuts if cut.size]
    if found or amount.size is None:
        return found
    return [Rect(amount.size[0], amount.size[1], amount.pieces)]
