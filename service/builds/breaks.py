"""What so many units of sale cost: price breaks, lots, least amounts and steps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Literal, Protocol

from scrapers import Amount, Dimension, UnitError, dimension, to_base
from service.builds.amounts import base_amount
from service.model.catalogue import Break, Listing, Part

MANY = 2_000  # above so many units lots are taken greedily


def cost_of(price: Fraction, breaks: Sequence[Break], units: Fraction) -> Fraction:
    """The least that `units` units of sale cost, in the page's currency.

    An `each` break holds for all units from its quantity on; a `lot` is a price for
    exactly its quantity, taken as often as it pays ("two for the price of one").
    """
    if not breaks:
        return price * units
    each = min(
        (Fraction(b.price) for b in breaks if b.per == "each" and b.quantity <= units),
        default=price,
    )
    each = min(each, price)
    lots = [
        b
        for b in breaks
        if b.per == "lot" and 0 < b.quantity <= units and b.price < each * b.quantity
    ]
    if not lots:
        return each * units
    whole = int(units)
    return _with_lots(each, lots, whole) + each * (units - whole)


def _with_lots(each: Fraction, lots: Sequence[Break], units: int) -> Fraction:
    if units > MANY:
        best = min(lots, key=lambda lot: Fraction(lot.price) / lot.quantity)
        times = (units - MANY) // best.quantity + 1
        return times * Fraction(best.price) + _with_lots(each, lots, units - times * best.quantity)
    costs = [Fraction(0)]
    for count in range(1, units + 1):
        ways = [costs[-1] + each]
        ways += [costs[count - b.quantity] + Fraction(b.price) for b in lots if b.quantity <= count]
        costs.append(min(ways))
    return costs[units]


class Tier(Protocol):
    """A price for several as a page states it."""

    @property
    def quantity(self) -> int: ...
    @property
    def price(self) -> Decimal: ...
    @property
    def per(self) -> Literal["lot", "each"]: ...


def tiers_text(tiers: Iterable[Tier]) -> str:
    """`2 each 9.90|5 lot 40.00`: how a page's prices for several are kept."""
    return "|".join(f"{tier.quantity} {tier.per} {tier.price:f}" for tier in tiers)


def page_breaks(text: str, price: Decimal) -> tuple[Break, ...]:
    """The kept prices for several that are below `price`, the page's price of one."""
    found = []
    for tier in filter(None, text.split("|")):
        quantity, per, amount = tier.split(" ")
        row = Break(int(quantity), Decimal(amount), "lot" if per == "lot" else "each")
        whole = row.price if per == "lot" else row.price * row.quantity
        if row.quantity > 1 and 0 < whole < price * row.quantity:
            found.append(row)
    return tuple(found)


def units_for(listing: Listing, part: Part, content: Fraction, need: Fraction) -> Fraction:
    """How many units of sale to buy for `need` base units.

    Whole ones, unless the listing names a step: then the least multiple of the step
    that covers the need, which may be a part of a unit of sale.
    """
    if need <= 0:
        return Fraction(0)
    if listing.least is None and listing.step is None:
        return Fraction(ceil(need / content))
    want = max(need, _in_base(listing.least, part, content))
    step = _in_base(listing.step, part, content)
    if step > 0:
        return ceil(want / step) * step / content
    return Fraction(ceil(want / content))


def _in_base(amount: Amount | None, part: Part, content: Fraction) -> Fraction:
    """A least amount or step; a bare count of what is no count means units of sale."""
    if amount is None:
        return Fraction(0)
    try:
        return base_amount(amount, part)
    except UnitError:
        if dimension(amount.unit) is Dimension.COUNT:
            return Fraction(to_base(amount)) * content
        raise
