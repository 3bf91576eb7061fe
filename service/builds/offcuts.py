"""Leftover bodies by size: how much of them a line can be made from."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from scrapers import Amount
from service.builds.amounts import fits, longest_piece
from service.builds.view import Stock
from service.model.builds import Cut, Line


def cut_amount(cut: Cut) -> Fraction:
    """Base units (m or m2) in all bodies of one size."""
    if cut.length is not None:
        return Fraction(cut.length) * cut.count / 1000
    if cut.size is not None:
        return Fraction(cut.size[0]) * Fraction(cut.size[1]) * cut.count / 1_000_000
    return Fraction(0)


def usable(stock: Stock, line: Line) -> Fraction:
    """What of the stock the line can use: an offcut that none of its pieces fits in is not.

    What is on hand beyond the offcuts is whole.
    """
    free = Fraction(stock.free)
    whole = line.cuts or line.longest is not None
    if not stock.offcuts or not whole:
        return free
    bodies = sum((cut_amount(cut) for cut in stock.offcuts), Fraction(0))
    out_of_them = sum((_yields(cut, line) for cut in stock.offcuts), Fraction(0))
    return max(free - bodies, Fraction(0)) + min(out_of_them, free)


def _yields(body: Cut, line: Line) -> Fraction:
    rects = [cut.size for cut in line.cuts if cut.size is not None]
    if rects and body.size is not None:
        stock = Amount(Decimal(1), "m2", size=body.size)
        return cut_amount(body) if any(fits(r, stock, line.grain) for r in rects) else Fraction(0)
    lengths = {cut.length for cut in line.cuts if cut.length is not None}
    have = body.length if body.length is not None else max(body.size or (Decimal(0),))
    longest = longest_piece(line)
    if longest is None:
        return cut_amount(body)
    if len(lengths) == 1 and line.longest is None and body.length is not None:
        pieces = int((body.length + line.kerf) // (longest + line.kerf)) * body.count
        return Fraction(longest) * pieces / 1000
    shortest = min(lengths, default=longest)
    return cut_amount(body) if shortest <= have else Fraction(0)
