"""What a plan is weighed against: fewer suppliers, none abroad, others than it chose.

Each is the total of an order that can be placed; it may be dearer than the best of its kind
by `NEARLY`, which keeps them quick.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from decimal import Decimal

from service.builds.plan_goods import Place
from service.builds.plan_search import Other, Plan, Planner
from service.builds.tax import crosses_customs

NEARLY = 0.002  # of the cost
ASIDE = 2.0  # seconds for each


def others(planner: Planner, plan: Plan) -> Iterator[Other]:
    """None abroad, all from each supplier, without each that was chosen, with each that was not."""
    every = list(planner.model.open)
    used = {order.place for order in plan.orders}
    shops = list(dict.fromkeys(place.supplier for place in every))
    chosen = {place.supplier for place in used}
    yield from _at_home(planner, used)
    for shop in shops:
        places = [place for place in every if place.supplier == shop]
        if chosen != {shop}:
            yield _within(planner, "all from", shop, places)
    for shop in shops:
        rest = [place for place in every if place.supplier != shop]
        if shop in chosen and len(shops) > 1:
            yield _within(planner, "without", shop, rest)
        elif shop not in chosen:
            yield _with(planner, shop)


def _at_home(planner: Planner, used: Collection[Place]) -> Iterator[Other]:
    """Without orders from other countries; where customs matter, also without those alone."""
    home, every = planner.market.view.destination, list(planner.model.open)
    if home is None:
        return
    abroad = {place for place in every if place.country != home}
    customs = {place for place in every if crosses_customs(place.country or None, home)}
    if abroad & set(used):
        yield _within(planner, "without abroad", "", [p for p in every if p not in abroad])
    if customs & set(used) and customs != abroad:
        yield _within(planner, "without customs", "", [p for p in every if p not in customs])


def _within(planner: Planner, kind: str, name: str, places: Collection[Place]) -> Other:
    """The best plan that orders at these places only."""
    lacks = planner.lacks(places)
    if lacks:
        return Other(kind, name, None, lacks=lacks)
    shut = planner.columns(place for place in planner.model.open if place not in places)
    return _other(planner, kind, name, shut, ())


def _with(planner: Planner, shop: str) -> Other:
    """The best plan that orders at this supplier too."""
    return _other(planner, "with", shop, (), (planner.model.visited[shop],))


def _other(
    planner: Planner, kind: str, name: str, shut: Collection[int], must: Collection[int]
) -> Other:
    found = planner.best(shut, must, ASIDE, NEARLY)
    if not found.values:
        return Other(kind, name, None)
    orders = planner.orders(planner.model.bought(found), found)
    total = sum((order.total for order in orders), Decimal(0))
    known = all(not order.landed.unknown for order in orders)
    return Other(kind, name, total, known, len(orders))


def pays_below(planner: Planner, plan: Plan) -> Iterator[tuple[str, Decimal]]:
    """Suppliers whose charges are not known and that would be cheaper if these were small."""
    if not plan.complete or not planner.model.unknown:
        return
    for place, columns in planner.model.open.items():
        if not set(columns) & set(planner.model.unknown):
            continue
        rest = [other for other in planner.model.unknown if other not in columns]
        found = planner.model.programme.solve(ASIDE, closed=rest)
        if not found.values:
            continue
        orders = planner.orders(planner.model.bought(found), found)
        total = sum((order.total for order in orders), Decimal(0))
        if any(order.place == place for order in orders) and total < plan.total:
            yield place.supplier, plan.total - total
