"""All builds at once give the cents of one build at a time, to the last half."""

import random
from datetime import timedelta
from decimal import Decimal

from builds_kit import NOW, Shop, amount, brk, build, line, part, rates
from hypothesis import given, settings
from hypothesis import strategies as st

from scrapers import Availability
from service.builds.bulk import price_all
from service.builds.cost import price_build
from service.builds.view import Stock
from service.model.builds import Build
from service.model.catalogue import Supply
from service.model.prices import Offer, PriceNow

D = Decimal


def shop_of(seed: int) -> tuple[Shop, list[Build]]:
    rng = random.Random(seed)
    parts = [part(f"p{k}", rng.choice(["m", "piece", "g"])) for k in range(8)]
    shop = Shop(*parts)
    for entry in parts:
        for _ in range(rng.randint(0, 4)):
            content = rng.choice(["1", "2", "3", "0.5", "8"]) if entry.unit != "piece" else "2"
            price = rng.choice(["1.00", "0.01", "9.99", "12.50", f"{rng.randint(1, 9999) / 100}"])
            shop.sell(
                entry.key,
                f"{content} {entry.unit}",
                rng.choice([price, price, price, None]),
                currency=rng.choice(["EUR", "USD"]),
                age=timedelta(hours=rng.choice([1, 1, 1, 99])),
                availability=rng.choice([Availability.IN_STOCK] * 3 + [Availability.OUT_OF_STOCK]),
                breaks=(brk(3, "0.50"),) if rng.random() < 0.05 else (),
            )
    if rng.random() < 0.3:
        shop.sell(
            "p0", f"1 {parts[0].unit}", "3.00", others=(Supply("p1", amount(f"1 {parts[1].unit}")),)
        )
    return shop, [_build(f"b{k}", parts, rng) for k in range(6)]


def _build(key: str, parts: list, rng: random.Random) -> Build:  # type: ignore[type-arg]  # parts of the kit
    lines = []
    for _ in range(rng.randint(1, 7)):
        entry = rng.choice(parts)
        need = rng.choice(["1", "2", "0.125", "3.7"]) if entry.unit != "piece" else "3"
        how = rng.choice(["share", "share", "shared 3", "tool", "owned", "stock", "whole"])
        lines.append(line(entry.key, f"{need} {entry.unit}", counts=how))
    return build(*lines, key=key, currency=rng.choice(["EUR", "USD"]))


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_equal_to_one_at_a_time_and_after_every_change(seed: int) -> None:
    shop, builds = shop_of(seed)
    stock = {f"p{k}": Stock(D(seed % 5) / 2, D(seed % 3)) for k in range(0, 8, 3)}
    more = {"rates": rates(USD="1.25"), "on_hand": stock}
    view = shop.view(**more)
    everything = price_all(builds, view)
    rng = random.Random(seed + 1)
    for _ in range(4):
        for entry in builds:
            cost = price_build(entry, shop.view(**more))
            total = everything.totals()[entry.key]
            assert total.share == cost.totals.share * 100
            assert total.to_spend == cost.totals.to_spend * 100
            assert total.complete == cost.totals.complete
        if not shop.listings:
            return
        chosen = rng.choice(shop.listings)
        price = D(rng.randint(1, 4000)) / 100
        now = PriceNow(chosen.id, Offer(price, "EUR"), NOW - timedelta(hours=2))
        shop.prices[chosen.id] = now
        everything.change(now)


def test_a_half_cent_is_rounded_from_fractions() -> None:
    shop = Shop(part("wire", "m"))
    shop.sell("wire", "3 m", "0.03", currency="USD")
    lines = [line("wire", text) for text in ("0.5 m", "1.5 m", "2.5 m")]
    view = shop.view(rates=rates(USD="1"))
    total = price_all([build(*lines)], view).totals()["curlew"]
    assert total.share == 1 + 2 + 3  # 0.5, 1.5 and 2.5 cents go up


def test_only_builds_that_use_the_listing_are_touched() -> None:
    shop = Shop(part("a"), part("b"))
    shop.sell("a", "1 piece", "1.00")
    shop.sell("b", "1 piece", "2.00")
    builds = [build(line("a", "1 piece"), key="one"), build(line("b", "1 piece"), key="two")]
    everything = price_all(builds, shop.view())
    assert everything.change(PriceNow(1, Offer(D(9), "EUR"), NOW)) == ["one"]
    assert everything.totals()["one"].share == 900


def test_a_build_with_its_own_destination_follows_a_change_too() -> None:
    shop = Shop(part("a")).supplier("quill", country="NL")
    shop.sell("a", "1 piece", "12.10", "quill")
    everything = price_all([build(line("a", "1 piece"), destination="DE")], shop.view())
    assert everything.totals()["curlew"].share == 1190  # 21 % of NL off, 19 % of DE on
    everything.change(PriceNow(1, Offer(D("24.20"), "EUR"), NOW))
    assert everything.totals()["curlew"].share == 2380
