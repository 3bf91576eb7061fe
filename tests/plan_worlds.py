"""Small random markets, and the best order in them by trying every number of everything.

The oracle shares nothing with the optimiser: it counts each possible order of one place, keeps
the cheapest for what it covers, and joins the places one after another.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from builds_kit import Shop, amount, brk, build, line, part, rates

from service.builds.landed import Lot, landed
from service.builds.offers import Market, Quote
from service.builds.view import PriceView
from service.model.builds import Build
from service.model.catalogue import Fee, ShippingRow, Supply
from service.model.money import Money

D, F = Decimal, Fraction
NUMBERS = ("free_from", "up_to_g", "up_to")


def row(to: str, fee: str, **more: Any) -> ShippingRow:
    given = {k: D(v) if k in NUMBERS else v for k, v in more.items()}
    return ShippingRow(to, D(fee), **given)


def cheapest_by_trying(wanted: Build, market: Market, spare: int = 5) -> tuple[int, Decimal] | None:
    """Orders whose charges nobody knows, and the least total with so few of them."""
    need = {one.part or "": F(one.amount.value) for one in wanted.lines}
    places: dict[tuple[str, str | None], dict[str, Quote]] = {}
    for key in sorted(need):
        for quote in market.quotes(market.view.parts[key]):
            where = quote.listing.supplier, market.country_of(quote.listing)
            places.setdefault(where, {}).setdefault(quote.listing.key, quote)
    parts = sorted(need)
    best = {tuple(F(0) for _ in parts): (0, D(0))}
    for quotes in places.values():
        table = _orders(list(quotes.values()), need, market, spare)
        joined = dict(best)
        for (have, cost), (more, extra) in itertools.product(best.items(), table.items()):
            pairs = zip(parts, have, more, strict=True)
            covered = tuple(min(need[p], a + b) for p, a, b in pairs)
            found = cost[0] + extra[0], cost[1] + extra[1]
            joined[covered] = min(found, joined.get(covered, found))
        best = joined
    return best.get(tuple(need[p] for p in parts))


def _orders(
    quotes: list[Quote], need: Mapping[str, Fraction], market: Market, spare: int
) -> dict[tuple[Fraction, ...], tuple[int, Decimal]]:
    shop = market.view.suppliers[quotes[0].listing.supplier]
    found: dict[tuple[Fraction, ...], tuple[int, Decimal]] = {}
    held = [_contents(quote, market) for quote in quotes]
    most = [max(-(-need[p] // n) for p, n in each.items() if p in need) + spare for each in held]
    for counts in itertools.product(*(range(int(n) + 1) for n in most)):
        lots = [Lot(q, F(n)) for q, n in zip(quotes, counts, strict=True) if n]
        value = sum((_page_cost(lot) for lot in lots), F(0))
        if not lots or (shop.min_order and value < shop.min_order):
            continue
        order = landed(lots, market)
        have = {
            p: sum(n * each.get(p, 0) for n, each in zip(counts, held, strict=True)) for p in need
        }
        covered = tuple(min(need[p], F(have[p])) for p in sorted(need))
        cost = int(bool(order.unknown)), order.goods + (order.extra or 0)
        found[covered] = min(cost, found.get(covered, cost))
    return found


def _contents(quote: Quote, market: Market) -> dict[str, Fraction]:
    """What a unit of sale holds of each part, what else is in the box included."""
    found: dict[str, Fraction] = {}
    for supply in (*quote.listing.supplies, *quote.listing.includes):
        content = market.content(supply, market.view.parts[supply.part])
        found[supply.part] = found.get(supply.part, F(0)) + (content or F(0))
    return found


def _page_cost(lot: Lot) -> Fraction:
    return lot.quote.cost(lot.units) / lot.quote.factor


def world(seed: int) -> tuple[Build, PriceView]:
    """Two or three shops at home and abroad, with every kind of delivery table, fee and price."""
    rng = random.Random(seed)
    parts = [_part(rng, key) for key in "abc"[: rng.randint(2, 3)]]
    shop = Shop(*parts)
    for number in range(rng.randint(2, 3)):
        _supplier(rng, shop, f"s{number}")
    if rng.random() < 0.4:
        _set(rng, shop)
    for one in parts:
        if not any(listing.holds(one.key) for listing in shop.listings):
            shop.sell(one.key, "1 piece", "20.00", "s0", currency=shop.suppliers["s0"].currency)
    wanted = build(*(line(one.key, f"{rng.randint(1, 3)} piece") for one in parts))
    fee = Money(D("0.30"), "EUR") if rng.random() < 0.3 else None
    view = shop.view(
        destination=rng.choice(["NL", "NL", "NL", "CH"]),
        rates=rates(GBP="0.8726", CHF="0.9312"),
        markup=D("0.015") if rng.random() < 0.3 else D(0),
        fee=fee,
    )
    return wanted, view


def _part(rng: random.Random, key: str) -> Any:
    more: dict[str, Any] = {}
    if rng.random() < 0.5:
        more["classes"] = (rng.choice(["lithium", "resin"]),)
    if rng.random() < 0.7:
        more["mass"] = amount(f"{rng.randint(20, 900)} g")
    if rng.random() < 0.5:
        more["tariff_group"] = rng.choice(["motor", "x", "battery"])
    return part(key, **more)


def _supplier(rng: random.Random, shop: Shop, name: str) -> None:
    country = rng.choice(["NL", "DE", "GB", "CH"])
    currency = {"GB": "GBP", "CH": "CHF"}.get(country, "EUR")
    shop.supplier(
        name,
        country=country,
        currency=currency,
        shipping=_rows(rng),
        fees=_fees(rng),
        min_order=D(rng.randint(5, 25)) if rng.random() < 0.2 else None,
        prices=rng.choice(["with-tax", "with-tax", "without-tax"]),
    )
    for key in shop.parts:
        if rng.random() < 0.75:
            price = f"{rng.randint(8, 70)}.{rng.choice(['00', '49', '90', '95'])}"
            sold_as = f"{rng.randint(1, 3)} piece"
            shop.sell(key, sold_as, price, name, currency=currency, breaks=_breaks(rng))


def _set(rng: random.Random, shop: Shop) -> None:
    """Two parts in one box, and perhaps a third that comes with them."""
    keys = list(shop.parts)
    others = (Supply(keys[1], amount(f"{rng.randint(1, 2)} piece"), D("0.3")),)
    more = (Supply(keys[-1], amount("1 piece")),) if rng.random() < 0.5 else ()
    currency = shop.suppliers["s1"].currency or "EUR"
    price = f"{rng.randint(15, 60)}.50"
    shop.sell(
        keys[0],
        "1 piece",
        price,
        "s1",
        currency=currency,
        others=others,
        split="0.7",
        includes=more,
    )


def _breaks(rng: random.Random) -> tuple[Any, ...]:
    dice = rng.random()
    if dice < 0.25:
        return (brk(2, f"{rng.randint(3, 8)}.50"),)
    return (brk(3, f"{rng.randint(12, 20)}.00", "lot"),) if dice < 0.4 else ()


def _rows(rng: random.Random) -> tuple[ShippingRow, ...]:
    kinds = [
        (0.5, lambda: row("NL", str(rng.randint(2, 9)), up_to_g=str(rng.randint(200, 1500)))),
        (0.3, lambda: row("NL", str(rng.randint(2, 9)), up_to=str(rng.randint(10, 80)))),
        (0.4, lambda: row("NL", str(rng.randint(9, 29)), classes=("lithium",))),
        (0.4, lambda: row("NL", str(rng.randint(2, 29)), classes=("resin",))),
        (0.6, lambda: row("NL", f"{rng.randint(3, 12)}.95", free_from=str(rng.randint(20, 90)))),
        (0.3, lambda: row("NL", f"{rng.randint(3, 12)}.95", not_classes=("lithium",))),
        (0.3, lambda: row("*", f"{rng.randint(9, 25)}.00")),
    ]
    found = [make() for chance, make in kinds if rng.random() < chance]
    rng.shuffle(found)
    return tuple(found)


def _fees(rng: random.Random) -> tuple[Fee, ...]:
    kinds = (
        (0.3, Fee("packing", D("0.90"))),
        (0.3, Fee("dangerous goods", D("6.00"), when_class="lithium")),
        (0.3, Fee("card", percent=D("1.7"))),
        (0.15, Fee("careful packing", percent=D("3.3"), when_class="resin")),
    )
    return tuple(fee for chance, fee in kinds if rng.random() < chance)
