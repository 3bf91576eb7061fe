"""What the build's parts were bought for: first in, first out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from service.builds.cents import exact_rate
from service.builds.view import Holding, PriceView
from service.model.money import Money, Rates
from service.model.orders import Purchase

Span = tuple[Fraction, Fraction]  # base units of a purchase, from and up to


@dataclass(slots=True)
class Lot:
    """A purchase (from its base unit `start` on) with what is left of it, in base units.

    `own`: the build has taken it already, all of it.
    """

    purchase: Purchase
    amount: Fraction
    left: Fraction
    each: Fraction  # price of one base unit, in the build's currency
    unit_cost: Fraction  # of one unit of sale, as really debited
    start: Fraction = Fraction(0)
    own: bool = False

    @property
    def at(self) -> Fraction:
        """The base unit of the purchase from which on it is left."""
        return self.start + self.amount - self.left

    def whole(self, span: Span) -> Span | None:
        """The units of sale that `span` opens, whole ones; None: it only goes on with one."""
        content = Fraction(self.purchase.content)
        first = -(-span[0] // content) * content
        if first >= span[1]:
            return None
        bought = content * Fraction(self.purchase.count)
        return first, min(-(-span[1] // content) * content, bought)

    @property
    def begun(self) -> Fraction:
        """Units of sale that are begun here; one that was begun before counts there.

        Whole ones, but of a running metre no more than was bought of it.
        """
        end = self.start + (self.amount if self.own else self.amount - self.left)
        return self._units(end) - self._units(self.start)

    def _units(self, end: Fraction) -> Fraction:
        whole = Fraction(-(-end // Fraction(self.purchase.content)))
        return min(whole, Fraction(self.purchase.count))


@dataclass(slots=True)
class Lots:
    """The purchases of every part, oldest first; taking from them uses them up.

    `opened`: by purchase what of it was paid as part of a whole unit of sale. Whoever takes
    the rest of that unit pays nothing more.
    """

    by_part: dict[str, list[Lot]] = field(default_factory=dict)
    opened: dict[int, list[Span]] = field(default_factory=dict)

    def take(self, part: str, need: Fraction, *, whole: bool = False) -> tuple[Fraction, Fraction]:
        """`(amount covered, its purchase price)` of up to `need` base units.

        `whole`: the units of sale that are opened for it count whole; of one that was begun
        for something else only the piece.
        """
        covered = price = Fraction(0)
        for lot in self.by_part.get(part, []):
            taken = min(need - covered, lot.left)
            if taken <= 0:
                continue
            span = (lot.at, lot.at + taken)
            lot.left -= taken
            covered += taken
            price += self._price(lot, span, whole=whole)
        return covered, price

    def _price(self, lot: Lot, span: Span, *, whole: bool) -> Fraction:
        paid = self.opened.get(id(lot.purchase), [])
        price = _length(_without(span, paid)) * lot.each
        unit = lot.whole(span) if whole else None
        if unit is not None:
            beyond = _without((span[1], unit[1]), paid) if unit[1] > span[1] else []
            price += _length(beyond) * lot.each
            self.opened[id(lot.purchase)] = [*paid, unit]
        return price

    def rest(self, part: str) -> Fraction:
        """The purchase price of what the build has taken of the part and no line asks for."""
        price = Fraction(0)
        for lot in self.by_part.get(part, []):
            if lot.own:
                price += self._price(lot, (lot.at, lot.at + lot.left), whole=False)
                lot.left = Fraction(0)
        return price

    def spent(self, parts: Iterable[str]) -> Fraction:
        """What has left the account for the units of sale that were begun, whole ones."""
        asked = set(parts)
        return sum(
            (
                lot.begun * lot.unit_cost
                for part, lots in self.by_part.items()
                for lot in lots
                if part in asked or lot.own
            ),
            Fraction(0),
        )

    @property
    def taken(self) -> bool:
        """Whether the build has taken anything."""
        return any(lot.own for lots in self.by_part.values() for lot in lots)


def _without(span: Span, others: Iterable[Span]) -> list[Span]:
    """What of a span lies in none of the others."""
    left = [span]
    for low, high in others:
        pieces = [piece for a, b in left for piece in ((a, min(b, low)), (max(a, high), b))]
        left = [(a, b) for a, b in pieces if a < b]
    return left


def _length(spans: Iterable[Span]) -> Fraction:
    return sum((b - a for a, b in spans), Fraction(0))


def open_lots(view: PriceView, currency: str, build: str = "") -> Lots:
    """What `build` has taken, then what it can take, oldest first, in its currency.

    Where the view says nothing of who has taken what, all purchases up to its day; the
    day's own order is that of the purchases' ids. A purchase in a currency without a known
    rate is left out.
    """
    lots = Lots()
    for holding, own in _holdings(view, build):
        lot = _lot(holding, view, currency, own=own)
        if lot is not None:
            lots.by_part.setdefault(lot.purchase.part, []).append(lot)
    return lots


def _holdings(view: PriceView, build: str) -> Iterator[tuple[Holding, bool]]:
    if view.holdings is not None:
        yield from ((one, True) for one in (view.holdings.get(build, ()) if build else ()))
        yield from ((one, False) for one in view.holdings.get("", ()))
        return
    for purchase in sorted(view.purchases, key=lambda p: (p.on or date.min, p.id)):
        if purchase.on is None or purchase.on <= view.at.date():
            yield Holding(purchase, Fraction(purchase.content) * Fraction(purchase.count)), False


def _lot(holding: Holding, view: PriceView, currency: str, *, own: bool) -> Lot | None:
    purchase = holding.purchase
    whole = Fraction(purchase.content) * Fraction(purchase.count)
    price = _in(purchase.total, view, currency, purchase.on)
    debited = _in(purchase.paid, view, currency, purchase.on)
    if price is None or debited is None or whole <= 0:
        return None
    late = Fraction(0)
    if holding.late:
        rate = exact_rate(_rates(view, purchase.on), holding.late_in, currency)
        late = holding.late * rate[0] if rate else late
    unit_cost = debited / Fraction(purchase.count) + late * Fraction(purchase.content)
    return Lot(
        purchase,
        holding.amount,
        holding.amount,
        price / whole + late,
        unit_cost,
        holding.start,
        own,
    )


def _in(money: Money, view: PriceView, currency: str, on: date | None) -> Fraction | None:
    """At the rate of the day on which it was bought."""
    rate = exact_rate(_rates(view, on), money.currency, currency)
    return None if rate is None else Fraction(money.amount) * rate[0]


def _rates(view: PriceView, on: date | None) -> Rates:
    return view.rates if on is None else view.rates_on.get(on, view.rates)


def last_paid(purchases: Sequence[Purchase], part: str) -> Purchase | None:
    """The newest purchase of the part."""
    mine = [purchase for purchase in purchases if purchase.part == part]
    return max(mine, key=lambda p: (p.on or date.min, p.id), default=None)
