"""Hours, mixtures, supplies, tools, payment and rates of a day: what counts, and where."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from builds_kit import NOW, Shop, amount, brk, build, line, part, rates
from hypothesis import given
from hypothesis import strategies as st

from scrapers import Availability
from service.builds.all_costs import price_all
from service.builds.breaks import page_breaks, tiers_text
from service.builds.cost import price_build
from service.builds.mixes import split_mass
from service.builds.series import cost_series
from service.builds.view import Holding, PriceView, Stock, Supplies
from service.model.builds import Alternative, Build
from service.model.catalogue import Break, Equivalent, Supply
from service.model.money import Money
from service.model.orders import Purchase
from service.model.prices import PriceNow, Spell

D = Decimal


def shop_of_motor() -> Shop:
    shop = Shop(part("motor"))
    shop.sell("motor", "1 piece", "40.00")
    return shop


def test_hours_without_a_rate_are_in_no_total() -> None:  # common practice: own work is free
    lines = (line("motor", "1 piece", hours=D("2.5")),)
    cost = price_build(build(*lines, hours=D(10)), shop_of_motor().view())
    assert cost.totals.share == cost.totals.to_spend == D("40.00")
    assert len(cost.lines) == 1
    assert cost.warnings == (
        "12.5 h of your own work, in no total: the build names no labour_rate",
    )


def test_hours_at_a_rate_are_a_line_of_their_own() -> None:  # 12.5 x 12.00 = 150.00
    lines = (line("motor", "1 piece", hours=D("2.5")),)
    made = build(*lines, hours=D(10), labour_rate=Money(D("12.00"), "EUR"))
    cost = price_build(made, shop_of_motor().view())
    assert [(name, sums.share, sums.to_spend) for name, sums in cost.groups][1:] == [
        ("labour", D("150.00"), D("0.00"))
    ]
    assert cost.totals.share == D("190.00")
    assert cost.totals.to_spend == D("40.00")  # nobody is paid for it
    assert (cost.lines[1].amount.value, cost.lines[1].amount.unit) == (D("12.5"), "h")
    assert cost.warnings == ()


def test_a_rate_in_another_currency_converts_or_counts_nothing() -> None:
    made = build(hours=D(10), labour_rate=Money(D("10.00"), "GBP"))
    # ECB reference rate of 2016-06-24: 0.80750; 100 / 0.8075 = 123.839
    view = Shop().view(rates=rates(date(2016, 6, 24), GBP="0.80750"))
    assert price_build(made, view).totals.share == D("123.84")
    bare = price_build(made, Shop().view())
    assert bare.totals.share == 0
    assert bare.warnings == ("10 h of your own work at 10.00 GBP, in no total: no rate to EUR",)


def test_a_version_takes_over_hours_and_rate() -> None:
    base = build(hours=D(3), labour_rate=Money(D(10), "EUR"), key="base")
    same = Build("same", "Same", "EUR", base="base")
    less = replace(same, key="less", hours=D(2))
    view = Shop().view(builds={x.key: x for x in (base, same, less)})
    assert price_build(same, view).totals.share == D("30.00")
    assert price_build(less, view).totals.share == D("20.00")


def resin_shop(*, sold_mixed: bool = False) -> Shop:
    mixed = part("resin", "g", mix=(D(100), D(42)), mix_of=("epoxy", "hardener"))
    shop = Shop(mixed, part("epoxy", "g"), part("hardener", "g"))
    shop.sell("epoxy", "1 kg", "24.00")
    shop.sell("hardener", "420 g", "16.00")
    if sold_mixed:
        shop.sell("resin", "1.42 kg", "35.50")
    return shop


def test_a_mixture_sold_apart_splits_by_mass() -> None:
    """100 : 42 by mass is common practice of slow epoxies; 142 g of it are 100 g and 42 g."""
    cost = price_build(build(line("resin", "142 g")), resin_shop().view())
    assert [(x.part, x.amount.value, x.share) for x in cost.lines] == [
        ("epoxy", D(100), D("2.40")),  # 100 / 1000 x 24.00
        ("hardener", D(42), D("1.60")),  # 42 / 420 x 16.00
    ]
    assert "component of resin, mixed 100:42 by mass" in cost.lines[0].hint
    assert cost.totals.to_spend == D("40.00")


def test_a_mixture_that_somebody_sells_as_one_stays_one_line() -> None:
    cost = price_build(build(line("resin", "142 g")), resin_shop(sold_mixed=True).view())
    assert [(x.part, x.share) for x in cost.lines] == [("resin", D("3.55"))]  # a tenth
    assert "mixed 100:42 by mass: 100 g and 42 g" in cost.lines[0].hint


def test_a_set_of_both_components_is_bought_once() -> None:
    shop = resin_shop()
    hardener = Supply("hardener", amount("42 g"))
    shop.sell("epoxy", "100 g", "3.00", "tarnside", others=(hardener,))  # below 2.40 + 1.60
    cost = price_build(build(line("resin", "142 g")), shop.view())
    assert {x.listing.supplier for x in cost.lines if x.listing} == {"tarnside"}
    assert cost.totals.share == cost.totals.to_spend == D("3.00")


def test_a_component_without_a_price_is_missing() -> None:
    """A tub of resin alone does not make the mixture whole (common practice)."""
    shop = resin_shop()
    del shop.prices[2]
    cost = price_build(build(line("resin", "90 g")), shop.view())
    assert cost.missing == ("hardener",)
    assert not cost.totals.complete


@given(
    st.decimals("0.001", "9999", places=3),
    st.decimals("0.1", "999", places=1),
    st.decimals("0.1", "999", places=1),
)
def test_components_add_up_to_the_mixture(whole: Decimal, one: Decimal, two: Decimal) -> None:
    first, second = split_mass(Fraction(whole), (one, two))
    assert first + second == whole
    assert abs(Fraction(first) - Fraction(whole) * Fraction(one) / Fraction(one + two)) <= Fraction(
        1, 2000
    )


def test_all_builds_at_once_and_the_series_know_hours_mixtures_and_supplies() -> None:
    """Three ways to the same total: whole, by arrays, and over time."""
    shop = resin_shop()
    shop.parts["tape"] = part("tape", "m")
    shop.sell("tape", "25 m", "5.00")
    lines = (line("resin", "90 g", hours=D("1.5")), line("tape", "2 m", counts="stock"))
    pay = Money(D("9.99"), "EUR")
    made = build(*lines, hours=D(7), labour_rate=pay)
    for supplies in (None, Supplies(flat=D(8)), Supplies(fraction=D("0.05"))):
        view = shop.view(supplies=supplies)
        want = price_build(made, view).totals
        total = price_all([made], view).totals()["curlew"]
        assert (total.share, total.to_spend) == (want.share * 100, want.to_spend * 100)
        spells = [Spell(n, now.offer, now.seen_at, NOW) for n, now in view.prices.items()]
        point = cost_series(made, view, spells, [NOW])[0]
        assert (point.share, point.to_spend) == (want.share, want.to_spend)


def test_a_flat_sum_for_supplies_converts_to_the_builds_currency() -> None:
    """ECB reference rate of 2016-06-24: 1 EUR = 0.80750 GBP; 8.00 EUR = 6.46 GBP."""
    shop = Shop(part("tape", "m"))
    shop.sell("tape", "25 m", "5.00", currency="GBP")
    made = build(line("tape", "2 m", counts="stock"), currency="GBP")
    flat = Supplies(flat=D("8.00"), currency="EUR")
    view = shop.view(supplies=flat, rates=rates(date(2016, 6, 24), GBP="0.80750"))
    assert price_build(made, view).totals.share == D("6.46")
    bare = price_build(made, shop.view(supplies=replace(flat, currency="USD")))
    assert bare.totals.share == D("0.40")  # counted like goods, and it says so
    assert "no exchange rate from USD to GBP" in bare.warnings[0]


def test_a_tool_is_to_spend_only() -> None:  # common practice: an iron builds many models
    shop = Shop(part("iron"), part("wire", "m"))
    shop.sell("iron", "1 piece", "35.00")
    shop.sell("wire", "1 m", "2.00")
    lines = (line("iron", "1 piece", counts="tool"), line("wire", "1 m"))
    cost = price_build(build(*lines), shop.view())
    assert (cost.totals.share, cost.totals.to_spend) == (D("2.00"), D("37.00"))
    iron = Purchase("iron", D(1), Money(D(30), "EUR"), on=date(2026, 11, 1))
    wire = Purchase("wire", D(1), Money(D(2), "EUR"), on=date(2026, 11, 1))
    have = price_build(build(*lines), shop.view(purchases=[iron, wire])).totals
    assert (have.share, have.to_spend) == (D("2.00"), D("0.00"))
    assert (have.paid, have.spent) == (D("2.00"), D("2.00"))


def test_paid_in_another_currency_counts_at_the_day_it_was_bought() -> None:
    """ECB reference rates: 2016-06-24 0.80750 GBP, 2025-12-31 0.87260 GBP for 1 EUR."""
    shop = Shop(part("cloth", "m2"))
    then, now = rates(date(2016, 6, 24), GBP="0.80750"), rates(date(2025, 12, 31), GBP="0.87260")
    bought = Purchase("cloth", D(1), Money(D("16.15"), "GBP"), on=date(2016, 6, 24))
    view = shop.view(purchases=[bought], rates=now, rates_on={date(2016, 6, 24): then})
    cost = price_build(build(line("cloth", "1 m2")), view)
    assert cost.totals.paid == cost.totals.spent == D("20.00")  # 16.15 / 0.8075
    without = replace(view, rates_on={})
    assert price_build(build(line("cloth", "1 m2")), without).totals.paid == D("18.51")


def test_a_markup_is_shown_and_is_of_the_account() -> None:
    """A build shown in pounds costs a euro account nothing more for euro prices."""
    shop = Shop(part("motor"))
    shop.sell("motor", "1 piece", "100.00", currency="USD")
    day = rates(date(2024, 6, 3), USD="1.0000", GBP="0.8000")
    view = shop.view(rates=day, markup=D("0.015"), account="EUR")
    cost = price_build(build(line("motor", "1 piece")), view)
    assert cost.lines[0].share == D("101.50")
    assert "payment abroad: 1.5 % on top" in cost.lines[0].hint
    own = shop_of_motor().view(rates=day, markup=D("0.015"), account="EUR")
    assert price_build(build(line("motor", "1 piece"), currency="GBP"), own).totals.share == D("32")


def test_least_to_spend_is_a_rule_and_names_the_other() -> None:
    """300 g at 5.90 against 1 kg at 15.00: 0.019667 and 0.015 a gram (common practice)."""
    shop = Shop(part("filler", "g"))
    shop.sell("filler", "1 kg", "15.00")
    shop.sell("filler", "300 g", "5.90")
    made = build(line("filler", "100 g"))
    cheap = price_build(made, shop.view()).lines[0]
    least = price_build(made, shop.view(rule="least to spend")).lines[0]
    assert (cheap.share, cheap.to_spend, cheap.rule) == (D("1.50"), D(15), "cheapest per unit")
    assert (least.share, least.to_spend, least.rule) == (D("1.97"), D("5.90"), "least to spend")
    assert cheap.hint == "300 g from quillfeather costs 9.10 EUR less now, 0.0047 more a g"
    assert least.hint == "1 kg from quillfeather costs 0.0047 EUR less a g, 9.10 EUR more now"


def test_a_set_that_is_used_up_gives_no_wrong_hint() -> None:
    """85.00 for both against 60.00 and 40.00 singly: neither part is cheaper alone."""
    shop = Shop(part("motor"), part("esc"))
    shop.sell("motor", "1 piece", "60.00")
    shop.sell("esc", "1 piece", "40.00")
    shop.sell("motor", "1 piece", "85.00", others=(Supply("esc", amount("1 piece")),))
    for rule in ("cheapest per unit", "least to spend"):
        cost = price_build(build(line("motor", "1 piece"), line("esc", "1 piece")), shop.view(rule=rule))  # fmt: skip
        assert cost.totals.to_spend == D("85.00")
        assert all("less now" not in x.hint for x in cost.lines)


def test_a_requirement_says_what_was_met_and_by_how_many() -> None:
    cells = [
        part(f"bat-{k}", spec={"cells": "4", "capacity_mAh": str(k)}) for k in (3000, 3300, 5000)
    ]
    shop = Shop(*cells)
    for number, price in enumerate(("44.00", "41.00", "20.00")):
        shop.sell(cells[number].key, "1 piece", price)
    need = {"cells": "4", "capacity_mAh": "3000..3600"}
    found = price_build(build(line(None, "1 piece", need=need)), shop.view()).lines[0]
    assert (found.part, found.share) == ("bat-3300", D("41.00"))
    assert "meets capacity_mAh 3000..3600, cells 4; parts that do: 2" in found.hint


def test_alternatives_have_their_own_amounts() -> None:  # one 6S or two 3S in series: both 22.2 V
    shop = Shop(part("six"), part("three"))
    shop.sell("six", "1 piece", "60.00")
    shop.sell("three", "1 piece", "25.00")
    ways = (Alternative("six", amount("1 piece")), Alternative("three", amount("2 pieces")))
    found = price_build(build(line(None, "1 piece", choose=ways)), shop.view()).lines[0]
    assert (found.part, found.amount.value, found.share) == ("three", 2, D("50.00"))
    assert "chosen of 1 piece six, 2 piece three" in found.hint


def test_a_discontinued_part_names_its_successor_with_the_remark() -> None:
    old = part("servo-old", equivalents=(Equivalent("servo-new", "metal gear"),))
    shop = Shop(old, part("servo-new"))
    shop.sell("servo-old", "1 piece", "20.00", availability=Availability.DISCONTINUED)
    shop.sell("servo-new", "1 piece", "24.00")
    found = price_build(build(line("servo-old", "1 piece")), shop.view()).lines[0]
    assert found.part == "servo-old"  # never swapped by itself
    assert "discontinued; still meets it: servo-new (metal gear)" in found.hint


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("5 each 4.50|3 lot 15.00", [(5, "4.50", "each"), (3, "15.00", "lot")]),
        ("5 each 6.00|2 lot 12.00", []),  # saves nothing
        ("5 each 6.50|1 each 5.00", []),  # dearer, or no price for several
        ("", []),
    ],
)
def test_prices_for_several_on_a_page(text: str, kept: list[tuple[int, str, str]]) -> None:
    """Only what several pay less for counts; common practice of quantity prices."""
    rows = page_breaks(text, D("6.00"))
    assert [(b.quantity, str(b.price), b.per) for b in rows] == kept


def test_what_is_kept_of_a_pages_tiers_reads_back() -> None:
    rows = (Break(2, D("9.90")), Break(5, D("40.00"), "lot"))
    assert tiers_text(rows) == "2 each 9.90|5 lot 40.00"
    assert page_breaks(tiers_text(rows), D("12.00")) == rows
    assert brk(2, "9.90") == rows[0]


def test_old_prices_of_the_view_are_not_mixed_up_with_mixtures() -> None:
    """A stale component is carried with its age, as any part is."""
    shop = resin_shop()
    old = shop.prices[2]
    shop.prices[2] = PriceNow(2, old.offer, NOW - timedelta(hours=72))
    view: PriceView = shop.view()
    assert [x.status for x in price_build(build(line("resin", "90 g")), view).lines] == [
        "priced",
        "stale",
    ]


def test_what_is_there_and_meets_the_need_is_taken_before_anything_is_bought() -> None:
    """Common practice: nobody buys a cheaper battery beside one that fits and lies there."""
    shop = Shop(*(part(key, spec={"cells": "4"}) for key in ("bat-a", "bat-b")))
    shop.sell("bat-a", "1 piece", "40.00")
    shop.sell("bat-b", "1 piece", "42.00")
    need = line(None, "1 piece", need={"cells": "4"})
    view = shop.view(on_hand={"bat-b": Stock(D(1))})
    cost = price_build(build(need, need), view)
    assert [(x.part, x.on_hand, x.to_spend) for x in cost.lines] == [
        ("bat-b", D(1), D("0.00")),
        ("bat-a", D(0), D("40.00")),  # the second finds it used up
    ]
    coming = shop.view(on_hand={"bat-b": Stock(coming=D(1))})
    assert price_build(build(need), coming).totals.to_spend == 0
    bought = Purchase("bat-b", D(1), Money(D(42), "EUR"), on=date(2026, 11, 1))
    held = shop.view(on_hand={}, holdings={"curlew": [Holding(bought, Fraction(1))]})
    assert price_build(build(need), held).lines[0].part == "bat-b"


def test_a_build_paid_for_all_that_it_took() -> None:
    """Glossary, "paid": what the build has taken, also what the saw and a crash took of it."""
    shop = Shop(part("ply", "m2"))
    shop.sell("ply", "300 x 600 mm", "9.00")
    bought = Purchase("ply", D(1), Money(D(9), "EUR"), content=D("0.18"), on=date(2026, 11, 1))
    taken = Holding(bought, Fraction(D("0.06")))
    view = shop.view(on_hand={}, holdings={"curlew": [taken]})
    lines = (line("ply", "0.03 m2"), line("ply", "0.02 m2"))
    cost = price_build(build(*lines), view)
    assert [x.paid for x in cost.lines] == [D("1.50"), D("1.50")]  # 0.03 and 0.02 + 0.01 m2
    assert cost.totals.paid == D("3.00")  # 0.06 of 0.18 m2
    alone = replace(view, holdings={"curlew": [], "": [taken]})  # what lies there is no one's yet
    assert price_build(build(*lines), alone).totals.paid == D("2.50")


def test_of_a_running_metre_no_more_is_spent_than_was_bought() -> None:
    """Half a metre for half the price is what left the account."""
    shop = Shop(part("cloth", "m2"))
    shop.sell("cloth", "1 m x 1 m", "7.00")
    bought = Purchase("cloth", D("0.5"), Money(D("3.50"), "EUR"), on=date(2026, 11, 1))
    view = shop.view(on_hand={}, holdings={"": [Holding(bought, Fraction(1, 2))]})
    cost = price_build(build(line("cloth", "0.3 m2")), view)
    assert (cost.totals.paid, cost.totals.spent) == (D("2.10"), D("3.50"))
