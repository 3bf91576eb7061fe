"""Exact amounts of a part, and whether a line can be made from what a listing sells.

Amounts are `Fraction`s in the base unit of the part's unit (piece, m, m2, g, ml), so
that no rounding happens before money is rounded to cents.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from scrapers import Amount, Dimension, UnitError, dimension, format_amount, to_base
from service.builds import texts
from service.builds.cents import number_text, to_decimal
from service.model.builds import Line
from service.model.catalogue import Listing, Part

BASE_UNIT = {
    Dimension.COUNT: "piece",
    Dimension.LENGTH: "m",
    Dimension.AREA: "m2",
    Dimension.MASS: "g",
    Dimension.VOLUME: "ml",
    Dimension.AREAL_MASS: "g/m2",
}


def base_unit(part: Part) -> str:
    """The unit that exact amounts of the part are counted in."""
    return BASE_UNIT[dimension(part.unit)]


def unit_size(part: Part) -> Fraction:
    """How many of its base unit one `part.unit` is: a pair 2 pieces, a foot 0.3048 m."""
    return Fraction(to_base(Amount(Decimal(1), part.unit), pair_is=part.pair_is))


def shown_in(part: Part, *amounts: Fraction) -> tuple[str, Fraction]:
    """`(unit, its size in base units)` in which amounts of the part are told to people.

    The part's own unit; its base unit where the own one would have to round (a metre in feet).
    """
    size = unit_size(part)
    exact = all(Fraction(to_decimal(amount / size, 12)) * size == amount for amount in amounts)
    return (part.unit, size) if exact else (base_unit(part), Fraction(1))


def shown_amount(amount: Fraction, part: Part) -> Amount:
    """`amount` base units as people are told them: two hinges of a pair are 1 pair."""
    unit, size = shown_in(part, amount)
    return Amount(to_decimal(amount / size, 12), unit)


def base_amount(amount: Amount, part: Part) -> Fraction:
    """`amount` in the part's base unit. UnitError where it measures something else.

    Mass and volume convert through the part's density (g/ml), mass and area through
    its areal mass (g/m2); a length of a width ("1 m x 1.2 m") counts as its length
    for a part that is counted in lengths.
    """
    have, want = dimension(amount.unit), dimension(part.unit)
    if have is want:
        return Fraction(to_base(amount, pair_is=part.pair_is))
    if have is Dimension.AREA and want is Dimension.LENGTH and amount.size:
        return Fraction(amount.size[0]) * amount.pieces / 1000
    grams = _grams(amount, have, part)
    value = None if grams is None else _from_grams(grams, want, part)
    if value is None:
        raise UnitError(
            f"{format_amount(amount)} measures {have} and the part is counted in {part.unit} "
            f"({want}): write the amount in {BASE_UNIT[want]}, or give the part a density "
            "(g/ml) or an areal_mass (g/m2)"
        )
    return value


def _grams(amount: Amount, have: Dimension, part: Part) -> Fraction | None:
    value = Fraction(to_base(amount, pair_is=part.pair_is))
    if have is Dimension.MASS:
        return value
    if have is Dimension.VOLUME and part.density:
        return value * Fraction(part.density)
    if have is Dimension.AREA and part.areal_mass:
        return value * Fraction(part.areal_mass)
    return None


def _from_grams(grams: Fraction, want: Dimension, part: Part) -> Fraction | None:
    if want is Dimension.MASS:
        return grams
    if want is Dimension.VOLUME and part.density:
        return grams / Fraction(part.density)
    if want is Dimension.AREA and part.areal_mass:
        return grams / Fraction(part.areal_mass)
    return None


def line_need(line: Line, amount: Amount, part: Part) -> Fraction:
    """What the line uses up, waste included, in the part's base unit."""
    return base_amount(amount, part) * (1 + Fraction(line.waste))


def mass_of(need: Fraction, part: Part) -> Fraction | None:
    """Grams of `need` base units of the part; None where the catalogue does not say.

    `part.mass` is of one `part.unit`; else the areal mass or the density decides.
    """
    if part.mass is not None:
        return need / unit_size(part) * Fraction(to_base(part.mass))
    unit = dimension(part.unit)
    return _grams(Amount(Decimal(1), BASE_UNIT[unit]), unit, part) and need * _one(part, unit)


def _one(part: Part, unit: Dimension) -> Fraction:
    return _grams(Amount(Decimal(1), BASE_UNIT[unit]), unit, part) or Fraction(0)


def check_line_fits(line: Line, listing: Listing | None, part: Part) -> str | None:
    """Why the line cannot be filled from the part (or from this listing of it); None: it can.

    Amounts must measure the same, and every piece must fit in what one purchase holds.
    """
    try:
        line_need(line, line.amount, part)
        supply = listing.holds(part.key) if listing else None
        if supply is None:
            return None
        base_amount(supply.amount, part)
    except UnitError as error:
        return texts.MIXED_UNITS.format(amount="an amount", part=part.key, why=error)
    return misfit(line, supply.amount, running=listing is not None and is_running(listing))


def misfit(line: Line, stock: Amount, *, running: bool = False) -> str | None:
    """Why a piece that the line needs whole does not fit in one body of `stock`.

    Whole are the pieces of a cut list and the longest piece. `running`: goods that are
    cut to length, which only their width limits.
    """
    for cut in line.cuts:
        if cut.size and not fits(cut.size, stock, line.grain, running=running):
            what = f"{number_text(cut.size[0])} x {number_text(cut.size[1])} mm"
            return texts.NO_FIT.format(what=what, where=format_amount(stock))
    longest, have = longest_piece(line), body_length(stock)
    if longest is not None and have is not None and longest > have and not running:
        what = f"{number_text(longest)} mm"
        return texts.NO_FIT.format(what=what, where=format_amount(stock))
    return None


def fits(
    rect: tuple[Decimal, Decimal], stock: Amount, grain: str | None, *, running: bool = False
) -> bool:
    """Whether a rectangle (mm x mm) lies in one body of `stock`; a body without size takes all."""
    if stock.size is None:
        return True
    size = (max(rect), stock.size[1]) if running else stock.size
    return _inside(rect[0], rect[1], size, free=grain in {None, "any"})


def is_running(listing: Listing) -> bool:
    """Whether the goods are cut to length: the listing names a step."""
    return listing.step is not None


def longest_piece(line: Line) -> Decimal | None:
    """The longest piece in mm that the line needs whole, if it says one."""
    lengths = [cut.length for cut in line.cuts if cut.length is not None]
    if line.longest is not None:
        lengths.append(to_base(line.longest) * 1000)
    return max(lengths, default=None)


def body_length(stock: Amount) -> Decimal | None:
    """The length in mm of one body of what is sold; None where it says none."""
    if stock.size:
        return max(stock.size)
    if dimension(stock.unit) is Dimension.LENGTH:
        return to_base(stock) * 1000 / stock.pieces
    return None


def _inside(long: Decimal, wide: Decimal, size: tuple[Decimal, Decimal], *, free: bool) -> bool:
    straight = long <= size[0] and wide <= size[1]
    return straight or (free and wide <= size[0] and long <= size[1])
