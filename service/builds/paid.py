"""What the build's parts were bought for: first in, first out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from service.builds.cents import exact_rate
from service.builds.view import PriceView
from service.model.money import Money
from service.model.orders import Purchase


@dataclass(slots=True)
class Lot:
    """One purchase with what is left of it, in the part's base unit."""

    purchase: Purchase
    left: Fraction
    each: Fraction  # price of one base unit, in the build's currency
    unit_cost: Fraction  # of one unit of sale, as really debited
    opened: Fraction = Fraction(0)  # units of sale begun


@dataclass(slots=True)
class Lots:
    """The purchases of every part, oldest first; taking from them uses them up."""

    by_part: dict[str, list[Lot]] = field(default_factory=dict)

    def take(self, part: str, need: Fraction) -> tuple[Fraction, Fraction]:
        """`(amount covered, its purchase price)` of up to `need` base units."""
        covered = price = Fraction(0)
        for lot in self.by_part.get(part, []):
            taken = min(need - covered, lot.left)
            if taken <= 0:
                continue
            lot.left -= taken
            covered += taken
            price += taken * lot.each
        return covered, price

    def spent(self, parts: Iterable[str]) -> Fraction:
        """What has left the account for the units of sale that were begun, whole ones."""
        total = Fraction(0)
        for part in parts:
            for lot in self.by_part.get(part, []):
                content = Fraction(lot.purchase.content)
                used = content * Fraction(lot.purchase.count) - lot.left
                total += -(-used // content) * lot.unit_cost
        return total


def open_lots(view: PriceView, currency: str) -> Lots:
    """Purchases up to the view's day, oldest first, in the build's currency.

    A purchase in a currency without a known rate is left out. The day's own order is
    that of the purchases' ids.
    """
    lots = Lots()
    for purchase in sorted(view.purchases, key=lambda p: (p.on or date.min, p.id)):
        lot = _lot(purchase, view, currency)
        if lot is not None:
            lots.by_part.setdefault(purchase.part, []).append(lot)
    return lots


def _lot(purchase: Purchase, view: PriceView, currency: str) -> Lot | None:
    if purchase.on is not None and purchase.on > view.at.date():
        return None
    amount = Fraction(purchase.content) * Fraction(purchase.count)
    price = _in(purchase.total, view, currency)
    debited = _in(purchase.debited or purchase.total, view, currency)
    if price is None or debited is None or amount <= 0:
        return None
    return Lot(purchase, amount, price / amount, debited / Fraction(purchase.count))


def _in(money: Money, view: PriceView, currency: str) -> Fraction | None:
    rate = exact_rate(view.rates, money.currency, currency)
    return None if rate is None else Fraction(money.amount) * rate[0]


def last_paid(purchases: Sequence[Purchase], part: str) -> Purchase | None:
    """The newest purchase of the part."""
    mine = [purchase for purchase in purchases if purchase.part == part]
    return max(mine, key=lambda p: (p.on or date.min, p.id), default=None)
