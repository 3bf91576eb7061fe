"""What each line costs delivered: its part of the charges of its supplier's order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from service.builds import texts
from service.builds.cents import share_out
from service.builds.figures import BuildCost, with_delivered
from service.builds.landed import Landed, Lot, landed
from service.builds.offers import Market, Quote
from service.builds.rows import Row, by_listing

NOTHING = Decimal(0)
Place = tuple[str, str | None]  # supplier, and the country that the goods come from


def deliver(cost: BuildCost, rows: Sequence[Row], market: Market) -> BuildCost:
    """The cost with `delivered`: all that is to be bought at a supplier is one order
    (one for each country that it sends from).

    Lines that buy nothing bear nothing. The lines of an order whose charges are not known
    have no `delivered`, and a warning says what to add. `rows` are those of the first lines.
    """
    orders = orders_of(rows, market)
    extra: list[Decimal | None] = [NOTHING] * len(cost.lines)
    for number, places in enumerate(_places(rows, orders, market)):
        spend = [cost.lines[place].to_spend or NOTHING for place in places]
        orders[number] = order = replace(orders[number], goods=sum(spend, NOTHING))
        for place, part in zip(places, _shares(order, spend), strict=True):
            extra[place] = part
    found = with_delivered(cost, extra)
    said = (*_unknown(orders), *_fee(orders, market), *(n for one in orders for n in one.notes))
    return replace(found, orders=tuple(orders), warnings=(*cost.warnings, *said))


def orders_of(rows: Sequence[Row], market: Market) -> list[Landed]:
    """One order a supplier and country, in the order of the list."""
    lots: dict[Place, list[Lot]] = {}
    for group in by_listing(rows).values():
        units = sum((row.buy for row in group), Fraction(0))
        if units and group[0].choice:
            quote = group[0].choice.quote
            lots.setdefault(_place(quote, market), []).append(Lot(quote, units))
    return [landed(mine, market) for mine in lots.values()]


def _place(quote: Quote, market: Market) -> Place:
    return quote.listing.supplier, market.country_of(quote.listing)


def _places(rows: Sequence[Row], orders: Sequence[Landed], market: Market) -> list[list[int]]:
    """The lines that buy something of each order."""
    found: dict[Place, list[int]] = {(one.supplier, one.country): [] for one in orders}
    for number, row in enumerate(rows):
        if row.buy and row.choice:
            found[_place(row.choice.quote, market)].append(number)
    return list(found.values())


def _shares(order: Landed, spend: Sequence[Decimal]) -> Sequence[Decimal | None]:
    """By what each line asks to spend."""
    if order.extra is None:
        return [None] * len(spend)
    return share_out(order.extra, [Fraction(one) for one in spend], order.currency)


def _unknown(orders: Iterable[Landed]) -> list[str]:
    reasons = dict.fromkeys(why for order in orders for why in order.unknown)
    return [texts.NOT_DELIVERED.format(why=why) for why in reasons]


def _fee(orders: Iterable[Landed], market: Market) -> list[str]:
    """The fee of paying abroad is told where it could not be put into what is delivered."""
    lost = [order for order in orders if order.unknown and order.abroad]
    if market.view.fee is None or not lost:
        return []
    return [texts.PAYMENT_FEE.format(fee=market.view.fee, count=len(lost))]
