"""An order plan as a mixed-integer programme, in minor units of the build's currency.

Every rounding to cents that the evaluation of an order makes is made here too (a whole column
above an expression less one half), so that the optimum is that of the sums that are shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from service.builds.plan_goods import Good, Place
from service.builds.plan_milp import Lin, Programme, Solved, added, total
from service.builds.plan_order import Order
from service.builds.plan_stall import Stall, demand, most_needed
from service.builds.plan_stock import Spare, Stock, stock_of
from service.builds.plan_terms import Manner, Terms, allowed, manners_of

FEWER_ORDERS = 0.02  # of a cent: of equal plans the one with fewer orders


@dataclass(slots=True)
class Model:
    """The programme and where to find its answers.

    `open`: columns of a place's orders, one a manner of being charged; `visited`: by supplier,
    1 only where one is placed. `unknown`: columns that are 1 where an order's charges cannot be
    told; `lost`: how many. `ways`: by want and part, where several may fill a want; `chosen`:
    by the first want of a bucket and listing.
    """

    programme: Programme
    stocks: dict[str, list[Stock]] = field(default_factory=dict)
    open: dict[Place, list[int]] = field(default_factory=dict)
    visited: dict[str, int] = field(default_factory=dict)
    unknown: list[int] = field(default_factory=list)
    lost: int = -1
    ways: dict[tuple[int, str], int] = field(default_factory=dict)
    chosen: dict[tuple[int, str], int] = field(default_factory=dict)

    def steps(self, key: str) -> Lin:
        """How many steps of a listing are bought."""
        return total(stock.steps for stock in self.stocks[key])

    def bought(self, found: Solved) -> dict[str, int]:
        """Steps by listing."""
        counts = {
            key: round(
                sum(factor * found.values[place] for place, factor in self.steps(key).items())
            )
            for key in self.stocks
        }
        return {key: count for key, count in counts.items() if count}


def model_of(stall: Stall, terms: Mapping[Place, Terms]) -> Model:
    """The programme of all that may be bought under these terms."""
    model = Model(Programme())
    places: defaultdict[Place, list[Good]] = defaultdict(list)
    for good in stall.goods:
        places[good.place].append(good)
    for place, goods in sorted(places.items()):
        _place(model, stall, terms[place], goods)
    _visited(model)
    programme, unknown = model.programme, model.unknown
    model.lost = programme.column(float(len(unknown)))
    programme.row({model.lost: 1.0} | dict.fromkeys(unknown, -1.0), low=0.0, high=0.0)
    _cover(model, stall)
    return model


def _visited(model: Model) -> None:
    """By supplier a column that may be 1 only where something is ordered there."""
    shops: defaultdict[str, list[int]] = defaultdict(list)
    for place, opened in model.open.items():
        shops[place.supplier] += opened
    for shop, columns in shops.items():
        model.visited[shop] = model.programme.column()
        terms = {model.visited[shop]: 1.0} | dict.fromkeys(columns, -1.0)
        model.programme.row(terms, high=0.0)


def _place(model: Model, stall: Stall, terms: Terms, goods: Sequence[Good]) -> None:
    """An order for each manner in which the place may charge one, of which one at most."""
    opened = model.open[terms.place] = []
    for manner in manners_of(terms, goods):
        mine = allowed(manner, terms, goods)
        if mine:
            column = _order(model, stall, terms, manner, mine)
            opened.append(column)
            model.unknown += [column] if manner.tier is None else []
    if len(opened) > 1:
        model.programme.row(dict.fromkeys(opened, 1.0), high=1.0)


def _order(model: Model, stall: Stall, terms: Terms, manner: Manner, goods: Sequence[Good]) -> int:
    programme, asked = model.programme, demand(stall)
    spare, opened = Spare(terms, manner), programme.column(cost=FEWER_ORDERS)
    stocks = []
    for good in goods:
        needed = most_needed(good, asked, stall.buckets)
        stock = stock_of(programme, good, needed, spare.most(good, needed), opened)
        stocks.append(stock)
        model.stocks.setdefault(good.listing.key, []).append(stock)
    Order(programme, terms, manner, opened, stocks).write()
    return opened


def _cover(model: Model, stall: Stall) -> None:
    """Every want is filled, of one of its parts."""
    programme = model.programme
    active = _active(model, stall)
    parts: defaultdict[str, list[tuple[Lin, Fraction]]] = defaultdict(list)
    for number, part, amount in stall.plain:
        parts[part].append((active[number, part], amount))
    steps: defaultdict[str, Lin] = defaultdict(dict)
    for bucket in stall.buckets:
        on = active[bucket.wants[0], bucket.part]
        picks = {key: programme.column() for key in sorted(bucket.steps)}
        programme.row(added(dict.fromkeys(picks.values(), 1.0), on, -1.0), low=0.0, high=0.0)
        for key, place in picks.items():
            model.chosen[bucket.wants[0], key] = place
            steps[key][place] = float(bucket.steps[key])
        parts[bucket.part].append((on, bucket.amount))
    for key, needed in steps.items():
        programme.row(added(model.steps(key), needed, -1.0), low=0.0)
    for part in sorted(parts):
        _fill(model, part, parts[part])


def _active(model: Model, stall: Stall) -> dict[tuple[int, str], Lin]:
    """By want and part an expression that is 1 where that part fills the want.

    The constant 1 is a column that is always on.
    """
    programme = model.programme
    always = programme.column()
    programme.row({always: 1.0}, low=1.0)
    ways: defaultdict[int, list[str]] = defaultdict(list)
    for number, part, _ in stall.plain:
        ways[number].append(part)
    for bucket in stall.buckets:
        for number in bucket.wants:
            ways[number].append(bucket.part)
    found: dict[tuple[int, str], Lin] = {}
    for number, parts in sorted(ways.items()):
        if len(parts) == 1:
            found[number, parts[0]] = {always: 1.0}
            continue
        for part in parts:
            model.ways[number, part] = programme.column()
            found[number, part] = {model.ways[number, part]: 1.0}
        programme.row(total(found[number, part] for part in parts), low=1.0, high=1.0)
    return found


def _fill(model: Model, part: str, asked: Iterable[tuple[Lin, Fraction]]) -> None:
    """What is bought of a part is at least what is asked of it."""
    rows = [(on, amount) for on, amount in asked if amount]
    whole = sum((amount for _, amount in rows), Fraction(0))
    if not whole:
        return
    stocks = [s for several in model.stocks.values() for s in several if part in s.good.holds]
    terms = total(stock.covers(part, whole) for stock in stocks)
    for on, amount in rows:
        terms = added(terms, on, -float(amount / whole))
    model.programme.row(terms, low=0.0)
    used = dict.fromkeys((stock.used for stock in stocks), 1.0)
    for on, _ in rows:  # implied, and what makes the relaxed programme tight
        model.programme.row(added(used, on, -1.0), low=0.0)
