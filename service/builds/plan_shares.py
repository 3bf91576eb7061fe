"""Who owes what of a plan: by build and person, to the cent."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from service.builds.cents import share_out
from service.builds.offers import Market
from service.builds.plan_search import Buy, PlacedOrder, Plan
from service.builds.plan_wants import Want

Party = tuple[str, str]  # person, build; both empty: the user's shelf


@dataclass(frozen=True, slots=True)
class Share:
    """What one build (or the shelf) bears of goods and of all that orders cost beside them."""

    person: str
    build: str
    goods: Decimal
    charges: Decimal

    @property
    def total(self) -> Decimal:
        return self.goods + self.charges


def shares_of(plan: Plan, market: Market) -> list[Share]:
    """The shares add up to the plan's total; alike builds differ by a cent at most.

    Goods are shared by the amounts that are needed of them (a set by its parts' shares of its
    price first), charges by the goods of their order. Shares are exact up to the end, then
    rounded once; what that leaves goes to the largest remainders.
    """
    parties = list(dict.fromkeys((want.person, want.build) for want in plan.wants))
    if not plan.orders or not parties:
        return []
    goods: defaultdict[Party, Fraction] = defaultdict(Fraction)
    whole: defaultdict[Party, Fraction] = defaultdict(Fraction)
    for order in plan.orders:
        mine = _order_goods(order, plan.wants, market)
        times = Fraction(order.total) / Fraction(order.landed.goods or 1)
        for party, part in mine.items():
            goods[party] += part
            whole[party] += part * times
    bought = sum((order.landed.goods for order in plan.orders), Decimal(0))
    first = share_out(bought, [goods[party] for party in parties], plan.currency)
    every = share_out(plan.total, [whole[party] for party in parties], plan.currency)
    rows = zip(parties, first, every, strict=True)
    return [Share(*party, part, total - part) for party, part, total in rows]


def _order_goods(
    order: PlacedOrder, wants: Sequence[Want], market: Market
) -> dict[Party, Fraction]:
    """What each build bears of the order's goods, exact."""
    found: defaultdict[Party, Fraction] = defaultdict(Fraction)
    for buy in order.buys:
        weights = want_weights(buy, wants, market)
        all_ = sum(weights.values(), Fraction(0))
        for number, weight in weights.items():
            party = wants[number].person, wants[number].build
            found[party] += Fraction(buy.cost) * weight / all_
    return found


def want_weights(buy: Buy, wants: Sequence[Want], market: Market) -> dict[int, Fraction]:
    """By want its weight in a line's cost; a line that serves none is borne by all."""
    served = {number: amount for number, amount in buy.serves.items() if amount}
    if not served:
        return dict.fromkeys(buy.serves or range(len(wants)), Fraction(1))
    parts = {number: _part(buy, wants[number]) for number in served}
    whole: defaultdict[str, Fraction] = defaultdict(Fraction)
    for number, amount in served.items():
        whole[parts[number]] += amount
    splits = _splits(buy, whole, market)
    return {
        number: splits[parts[number]] * amount / whole[parts[number]]
        for number, amount in served.items()
    }


def _part(buy: Buy, want: Want) -> str:
    """The part of the want that this line brings."""
    held = [way.part.key for way in want.ways if way.part.key in buy.good.holds]
    return held[0] if held else want.ways[0].part.key


def _splits(buy: Buy, parts: Mapping[str, Fraction], market: Market) -> dict[str, Fraction]:
    """The shares of a set's price that its parts bear; what comes in the box bears nothing
    where something else does.
    """
    found = {}
    for key in parts:
        quotes = market.quotes(market.view.parts[key])
        mine = [q.split for q in quotes if q.listing.key == buy.good.listing.key]
        found[key] = mine[0] if mine else Fraction(0)
    return found if any(found.values()) else dict.fromkeys(parts, Fraction(1))
