"""Finding an order plan: the programme of one question, asked under several conditions.

What the programme finds is counted again order by order with exact fractions (`landed`), so
that every figure is the sum of what is shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction

from service.builds import plan_texts as texts
from service.builds.cents import to_cents
from service.builds.delivery import Parcel, cheapest
from service.builds.landed import Landed, Lot, landed
from service.builds.offers import Market
from service.builds.plan_goods import Good, Place
from service.builds.plan_milp import Solved
from service.builds.plan_model import Model, model_of
from service.builds.plan_stall import Stall
from service.builds.plan_terms import Terms, terms_of
from service.builds.plan_wants import Want
from service.model.catalogue import ShippingRow
from service.model.money import quantum

TIME_LIMIT = 10.0  # seconds, for the plan itself
ANY = 0.05  # the gap of an order that is better than none
NEAR = 0.5  # minor units: the programme's cost and the exact one are the same


@dataclass(frozen=True, slots=True)
class Buy:
    """So many units of sale of one listing. `serves`: by want, base units of the want's part
    that come from here.
    """

    good: Good
    steps: int
    cost: Decimal
    serves: Mapping[int, Fraction] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def units(self) -> Fraction:
        return self.good.units(self.steps)


@dataclass(frozen=True, slots=True)
class PlacedOrder:
    """One order of the plan. `landed`: its charges; `terms`: what they follow from."""

    place: Place
    terms: Terms
    buys: tuple[Buy, ...]
    landed: Landed

    @property
    def row(self) -> ShippingRow | None:
        """The row of the delivery table that counts; None where none is known."""
        parcel = Parcel(
            sum((buy.good.value(buy.steps) for buy in self.buys), Fraction(0)),
            sum((buy.good.grams * buy.steps for buy in self.buys), Fraction(0)),
            all(buy.good.weighed for buy in self.buys),
            frozenset(name for buy in self.buys for name in buy.good.classes),
        )
        found = cheapest(self.terms.tiers, parcel)
        return found.row if found else None

    @property
    def total(self) -> Decimal:
        """In the build's currency; at least so much where the charges are not known."""
        return self.landed.goods + (self.landed.extra or Decimal(0))


@dataclass(frozen=True, slots=True)
class Other:
    """A plan under another condition. `total` None: it cannot be; `lacks`: wants that nobody
    in it sells.
    """

    kind: str
    name: str
    total: Decimal | None
    complete: bool = True
    orders: int = 0
    lacks: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """`bound`: no order costs less; equal to the total where that is `proved`. `lacking`: what
    is in no order, with the reason; `unknown` orders make the total "at least". `pays_below`:
    by supplier whose delivery is not known, what it may cost to pay off.
    """

    currency: str
    orders: tuple[PlacedOrder, ...]
    wants: tuple[Want, ...]
    lacking: tuple[tuple[Want, str], ...]
    covered: int
    bound: Decimal
    proved: bool
    others: tuple[Other, ...] = ()
    pays_below: tuple[tuple[str, Decimal], ...] = ()
    untried: tuple[str, ...] = ()
    hurried: bool = False  # not all was weighed that could be

    @property
    def total(self) -> Decimal:
        nothing = to_cents(Fraction(0), self.currency)
        return sum((order.total for order in self.orders), nothing)

    @property
    def complete(self) -> bool:
        """Whether nothing lacks and every charge is known."""
        return not self.lacking and all(not order.landed.unknown for order in self.orders)


class Planner:
    """The programme of one question, asked under several conditions."""

    def __init__(self, wants: Sequence[Want], stall: Stall, market: Market, limit: float) -> None:
        self.wants, self.stall, self.market, self.limit = tuple(wants), stall, market, limit
        self.terms = terms_of(stall.goods, market)
        self.model: Model = model_of(stall, self.terms)
        self.goods = {good.listing.key: good for good in stall.goods}

    def plan(self) -> Plan:
        """Without what it lacks, which no order changes."""
        found = self.best((), (), self.limit)
        if not found.values and not found.proved:  # any order is better than none
            found = replace(self.best((), (), max(self.limit, TIME_LIMIT), ANY), proved=False)
        bought = self.model.bought(found) if found.values else {}
        orders = self.orders(bought, found)
        total = sum((order.total for order in orders), Decimal(0))
        proved, bound = self._proof(found, total)
        asked = {n for n, want in enumerate(self.wants) if n not in self.stall.why}
        stuck = sorted(asked) if asked and not found.values else []
        return Plan(
            currency=self.market.currency,
            orders=tuple(orders),
            wants=self.wants,
            lacking=tuple((self.wants[n], texts.NO_ORDER) for n in stuck),
            covered=0,
            bound=bound,
            proved=proved,
            untried=self._untried(),
        )

    def _proof(self, found: Solved, total: Decimal) -> tuple[bool, Decimal]:
        """Whether the exact total is proved the least, and what nothing is below."""
        step = quantum(self.market.currency)
        same = not found.values or abs(found.cost - float(total / step)) < NEAR
        proved = found.proved and same and not self._untried()
        return proved, total if proved else min(total, _down(found.bound, step))

    def _untried(self) -> tuple[str, ...]:
        """Listings of which not every number was looked at."""
        every = [stock for several in self.model.stocks.values() for stock in several]
        thin = [stock.good.listing.key for stock in every if not stock.all_counts]
        return tuple(dict.fromkeys(thin))

    def best(
        self, closed: Iterable[int], forced: Iterable[int], limit: float, gap: float = 0.0
    ) -> Solved:
        """With as few orders of unknown charges as can be, then at the least cost."""
        programme, unknown = self.model.programme, self.model.unknown
        shut, must = tuple(closed), tuple(forced)
        if not self.stall.goods:
            return Solved(proved=True)
        found = programme.solve(limit, closed=(*shut, *unknown), forced=must, gap=gap)
        if found.values or not found.proved or not unknown:
            return found
        fewest = programme.solve(limit, closed=shut, forced=must, costs=dict.fromkeys(unknown, 1.0))
        if not fewest.values:
            return fewest
        most = {self.model.lost: float(round(fewest.cost))}
        found = programme.solve(limit, closed=shut, forced=must, most=most, gap=gap)
        return replace(found, proved=found.proved and fewest.proved)

    def orders(self, bought: Mapping[str, int], found: Solved) -> list[PlacedOrder]:
        """What is bought, order by order, counted exactly."""
        serves = self.serves(bought, found)
        places: defaultdict[Place, list[Buy]] = defaultdict(list)
        for key, steps in sorted(bought.items()):
            good = self.goods[key]
            cost = to_cents(good.quote.cost(good.units(steps)), self.market.currency)
            notes = tuple(dict.fromkeys(filter(None, self._notes(key, found))))
            places[good.place].append(Buy(good, steps, cost, serves.get(key, {}), notes))
        return [self._order(place, buys) for place, buys in sorted(places.items())]

    def _order(self, place: Place, buys: Sequence[Buy]) -> PlacedOrder:
        lots = [Lot(buy.good.quote, buy.units) for buy in buys]
        return PlacedOrder(place, self.terms[place], tuple(buys), landed(lots, self.market))

    def _notes(self, key: str, found: Solved) -> Iterable[str]:
        """What the cutting plan says of a listing that it was chosen with."""
        for bucket in self.stall.buckets:
            place = self.model.chosen.get((bucket.wants[0], key))
            if key in bucket.notes and place is not None and found.on(place):
                yield bucket.notes[key]

    def serves(self, bought: Mapping[str, int], found: Solved) -> dict[str, dict[int, Fraction]]:
        """By listing and want: base units of the want's part that come from it.

        A bucket's wants take from the listing that was chosen for it; what that leaves and
        all else of a part serves its plain wants in equal proportion.
        """
        answer: defaultdict[str, dict[int, Fraction]] = defaultdict(dict)
        left = {
            (key, part): held * steps
            for key, steps in bought.items()
            for part, held in self.goods[key].holds.items()
        }
        for bucket in self.stall.buckets:
            for key in bucket.steps:
                place = self.model.chosen[bucket.wants[0], key]
                if key in bought and found.on(place):
                    for number in bucket.wants:
                        answer[key][number] = self._amount(number, bucket.part)
                    rest = left[key, bucket.part] - bucket.amount
                    left[key, bucket.part] = max(rest, Fraction(0))
        self._plain(answer, left, found)
        return answer

    def _plain(
        self,
        answer: dict[str, dict[int, Fraction]],
        left: Mapping[tuple[str, str], Fraction],
        found: Solved,
    ) -> None:
        whole: defaultdict[str, Fraction] = defaultdict(Fraction)
        for (_, part), amount in left.items():
            whole[part] += amount
        for number, part, amount in self.stall.plain:
            column = self.model.ways.get((number, part))
            if not whole[part] or (column is not None and not found.on(column)):
                continue
            for (key, held), there in left.items():
                if held == part and there:
                    answer[key][number] = amount * there / whole[part]

    def _amount(self, number: int, part: str) -> Fraction:
        ways = self.wants[number].ways
        return next((way.amount for way in ways if way.part.key == part), Fraction(0))

    def columns(self, places: Iterable[Place]) -> list[int]:
        """The columns that say whether an order is placed there."""
        return [column for place in places for column in self.model.open[place]]

    def lacks(self, places: Collection[Place]) -> tuple[int, ...]:
        """Wants that nothing sold at these places fills."""
        open_ = {good.listing.key for good in self.stall.goods if good.place in places}
        sold = {part for key in open_ for part in self.goods[key].holds}
        filled = {number for number, part, amount in self.stall.plain if part in sold or not amount}
        for bucket in self.stall.buckets:
            if open_ & set(bucket.steps):
                filled |= set(bucket.wants)
        asked = {number for number, _, _ in self.stall.plain}
        asked |= {number for bucket in self.stall.buckets for number in bucket.wants}
        return tuple(sorted(asked - filled))


def _down(cost: float, step: Decimal) -> Decimal:
    """Minor units as money, never more than the solver's bound says."""
    return max(0, int(cost - NEAR)) * step if cost > 0 else 0 * step
