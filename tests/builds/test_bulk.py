"""All builds at once give the cents of one build at a time, to the last half."""

import random
from datetime import timedelta
from decimal import Decimal

from builds_kit import NOW, Shop, amount, brk, build, line, part, rates
from hypothesis import given, settings
from hypothesis import strategies as st

from scrapers import Availability
from service.builds.all_costs import price_all
from service.builds.cost import price_build
from service.builds.view import Stock, Supplies
from service.model.builds import Alternative, Build, Cut, Line
from service.model.catalogue import Part, Supply
from service.model.money import Money
from service.model.prices import Offer, PriceNow

D = Decimal


def shop_of(seed: int) -> tuple[Shop, list[Build]]:
    rng = random.Random(seed)
    spec = {"grade": "x"}
    units = [rng.choice(["m", "piece", "g"]) for _ in range(8)]
    parts = [part(f"p{k}", unit, spec=spec if unit == "g" else {}) for k, unit in enumerate(units)]
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
                includes=(Supply("p2", amount(f"1 {parts[2].unit}")),)
                if rng.random() < 0.05
                else (),
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
        lines.append(_line(entry, f"{need} {entry.unit}", how, parts, rng))
    more: dict[str, object] = {"currency": rng.choice(["EUR", "USD"])}
    more["destination"] = rng.choice([None, None, "DE"])
    if rng.random() < 0.4:
        more |= {"hours": D("2.5"), "labour_rate": Money(D("9.99"), "EUR")}
    return build(*lines, key=key, **more)


def _line(entry: Part, text: str, how: str, parts: list, rng: random.Random) -> Line:  # type: ignore[type-arg]  # parts of the kit
    kind = rng.random()
    if kind < 0.1:
        other = rng.choice(parts)
        ways = (
            Alternative(entry.key, amount(text)),
            Alternative(other.key, amount(f"2 {other.unit}")),
        )
        return line(None, text, choose=ways, counts=how)
    if kind < 0.2:
        return line(None, text, need={"grade": "x"}, counts=how)
    return line(entry.key, text, counts=how)


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_equal_to_one_at_a_time_and_after_every_change(seed: int) -> None:
    shop, builds = shop_of(seed)
    stock = {f"p{k}": Stock(D(seed % 5) / 2, D(seed % 3)) for k in range(0, 8, 3)}
    more = {"rates": rates(USD="1.25"), "on_hand": stock}
    if seed % 2:
        more["supplies"] = Supplies(fraction=D("0.05")) if seed % 3 else Supplies(flat=D("3.33"))
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


def test_one_odd_line_does_not_make_a_whole_build_slow() -> None:
    """A cut list, supplies and labour beside plain lines: the plain ones stay in the arrays."""
    shop = Shop(part("a"), part("b"), part("tube", "m"))
    shop.sell("a", "1 piece", "1.00")
    shop.sell("b", "1 piece", "2.00")
    shop.sell("tube", "1 m", "10.00")
    lines = (
        line("a", "1 piece"),
        line("b", "1 piece", counts="stock"),
        line("tube", "1.8 m", cuts=(Cut(3, D(600)),)),
    )
    made = build(*lines, hours=D(2), labour_rate=Money(D("5.00"), "EUR"))
    everything = price_all([made], shop.view(supplies=Supplies(fraction=D("0.1"))))
    assert [len(bulk.keys) for bulk in everything.arrays] == [1]
    # 1.00 + 18.00, a tenth of that, and 2 h x 5.00; to spend 1.00 + 2.00 + three bars
    total = everything.totals()["curlew"]
    assert (total.share, total.to_spend) == (1900 + 190 + 1000, 100 + 200 + 3000)
    assert everything.change(PriceNow(1, Offer(D(3), "EUR"), NOW)) == ["curlew"]
    assert everything.totals()["curlew"].share == 2100 + 210 + 1000
    everything.change(PriceNow(3, Offer(D(20), "EUR"), NOW))
    assert everything.totals()["curlew"].share == 3900 + 390 + 1000
