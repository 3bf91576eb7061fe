"""Goods that are bought whole although only a piece is used: which listing, and what was paid.

Common practice of buying plates: who needs one piece and has no use for the rest buys the plate
that costs least, not the one that costs least a square metre.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import ceil

import pytest
from builds_kit import NOW, Shop, amount, brk, build, line, part
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds.all_costs import price_all
from service.builds.compare import compare
from service.builds.cost import BuildCost, price_build
from service.builds.cost_json import cost_to_json
from service.builds.figures import LineCost
from service.builds.offers import Market
from service.builds.plan import Asked, make_plan
from service.builds.series import cost_series
from service.builds.view import Holding, Stock
from service.flows.publish import as_chosen
from service.model.builds import Alternative, Cut, Replacement
from service.model.catalogue import Supply
from service.model.money import Money
from service.model.orders import Purchase
from service.model.prices import Offer, PriceNow, Spell

D, F = Decimal, Fraction


def plates() -> Shop:
    """9.00 for 0.25 m2 is 36.00 a m2; the whole m2 costs 20.00."""
    shop = Shop(part("ply", "m2"))
    shop.sell("ply", "1 m2", "20.00", "large")
    shop.sell("ply", "0.25 m2", "9.00", "small")
    return shop


def supplier(found: LineCost) -> str | None:
    return found.listing.supplier if found.listing else None


def priced(text: str, counts: str = "whole", **more: object) -> LineCost:
    return price_build(build(line("ply", text, counts=counts)), plates().view(**more)).lines[0]


@pytest.mark.parametrize(
    ("text", "shop", "cost"),
    [
        ("0.2 m2", "small", "9.00"),
        ("0.25 m2", "small", "9.00"),
        ("0.26 m2", "small", "18.00"),  # two of 0.25
        ("0.5 m2", "small", "18.00"),
        ("0.51 m2", "large", "20.00"),  # three of 0.25 would be 27.00
        ("1.2 m2", "large", "40.00"),  # five of 0.25 would be 45.00
    ],
)
def test_the_units_that_cost_least_for_the_amount(text: str, shop: str, cost: str) -> None:
    found = priced(text)
    assert (supplier(found), found.share, found.to_spend) == (shop, D(cost), D(cost))
    assert found.rule == "cheapest whole units"


def test_a_share_is_still_the_cheapest_per_unit_and_names_the_other() -> None:
    """Glossary, "share": the part of a purchase that is used up; to spend: its whole units."""
    found = priced("0.2 m2", "share")
    assert (supplier(found), found.share, found.to_spend) == ("large", D("4.00"), D("20.00"))
    assert "0.25 m2 from small costs 11.00 EUR less now, 16.00 more a m2" in found.hint


def test_the_figures_of_the_page_and_of_the_json_are_the_same() -> None:
    shop = plates()
    found = cost_to_json(price_build(build(line("ply", "0.2 m2", counts="whole")), shop.view()))
    row = found["lines"][0]
    figures = [row[name] for name in ("supplier", "sold_as", "price", "buy", "share", "to_spend")]
    assert figures == ["small", "0.25 m2", "9.00", 1, "9.00", "9.00"]
    assert (found["totals"]["share"], found["totals"]["to_spend"]) == ("9.00", "9.00")


def test_a_fixed_listing_wins_and_the_saving_is_named() -> None:
    shop = plates()
    fixed = line("ply", "0.2 m2", counts="whole", listing="large/ply")
    found = price_build(build(fixed), shop.view()).lines[0]
    assert (supplier(found), found.share, found.rule) == ("large", D("20.00"), "fixed")
    assert "0.25 m2 from small costs 11.00 EUR less now" in found.hint


def test_what_an_order_plan_has_fixed_wins() -> None:
    shop = plates()
    made = build(line("ply", "0.2 m2", counts="whole"))
    found = price_build(made, shop.view(choose={"ply": "large/ply"})).lines[0]
    assert (supplier(found), found.share, found.rule) == ("large", D("20.00"), "order plan")


def test_equal_costs_go_by_what_is_held_and_then_by_the_name() -> None:
    shop = Shop(part("ply", "m2"))
    for shop_key, sold_as in (("z", "0.25 m2"), ("b", "0.5 m2"), ("a", "0.5 m2")):
        shop.sell("ply", sold_as, "9.00", shop_key)
    made = build(line("ply", "0.2 m2", counts="whole"))
    assert supplier(price_build(made, shop.view()).lines[0]) == "a"
    shop.listings.reverse()
    assert supplier(price_build(made, shop.view()).lines[0]) == "a"


def test_lines_that_count_whole_are_bought_together() -> None:
    """0.4 m2 of two lines: two plates at 9.00 are less than one at 20.00, three are not."""
    shop = plates()
    whole = line("ply", "0.2 m2", counts="whole")
    two = price_build(build(whole, whole), shop.view())
    assert [x.share for x in two.lines] == [D("9.00"), D("9.00")]
    three = price_build(build(whole, whole, whole), shop.view())
    assert [x.share for x in three.lines] == [D("20.00"), D("0.00"), D("0.00")]
    assert three.totals.to_spend == D("20.00")


def test_a_share_of_the_same_part_keeps_its_price() -> None:
    shop = plates()
    share, whole = line("ply", "0.2 m2"), line("ply", "0.2 m2", counts="whole")
    for lines in ((share, whole), (whole, share)):
        cost = price_build(build(*lines), shop.view())
        found = {x.counts.kind: (supplier(x), x.share, x.to_spend) for x in cost.lines}
        assert found["share"] == ("large", D("4.00"), D("20.00"))
        assert found["whole"] == ("small", D("9.00"), D("9.00"))


def test_what_is_on_hand_changes_what_is_spent_and_not_what_counts() -> None:
    """0.9 m2: four small plates count 36.00, the large one 20.00; 0.2 m2 lack, a small one."""
    found = priced("0.9 m2", on_hand={"ply": Stock(D("0.7"))})
    assert (supplier(found), found.share, found.to_spend) == ("large", D("20.00"), D("20.00"))
    assert "0.25 m2 from small costs 11.00 EUR less now, 16.00 EUR more in this model" in found.hint
    least = priced("0.9 m2", on_hand={"ply": Stock(D("0.7"))}, rule="least to spend")
    assert (supplier(least), least.share, least.to_spend) == ("small", D("36.00"), D("9.00"))
    assert "1 m2 from large costs 16.00 EUR less in this model, 11.00 EUR more now" in least.hint
    assert least.rule == "least to spend"


def test_price_breaks_count_for_the_units_that_are_opened() -> None:
    """Three at 5.00 instead of 9.00 are 15.00, less than the large plate."""
    shop = plates()
    shop.sell("ply", "0.25 m2", "9.00", "many", breaks=(brk(3, "5.00"),))
    whole = line("ply", "0.6 m2", counts="whole")
    found = price_build(build(whole), shop.view()).lines[0]
    assert (supplier(found), found.share, found.to_spend) == ("many", D("15.00"), D("15.00"))


def test_least_amounts_and_steps_count() -> None:
    """Cloth by the running metre, 0.1 m at a time but 1 m at least: 1 m is bought for 0.3 m."""
    shop = Shop(part("cloth", "m"))
    shop.sell("cloth", "1 m", "8.00", "metre", least=amount("1 m"), step=amount("0.1 m"))
    shop.sell("cloth", "0.5 m", "6.00", "piece")
    made = build(line("cloth", "0.3 m", counts="whole"))
    found = price_build(made, shop.view()).lines[0]
    assert (supplier(found), found.share, found.to_spend) == ("piece", D("6.00"), D("6.00"))


def test_cut_lists_open_the_bars_that_they_are_cut_from() -> None:
    """Three pieces of 600 mm: three bars of 1 m, one of 2 m gives the three at 15.00."""
    shop = Shop(part("tube", "m"))
    shop.sell("tube", "1 m", "6.00", "short")
    shop.sell("tube", "2 m", "15.00", "long")
    made = build(line("tube", "1.8 m", counts="whole", cuts=(Cut(3, D(600)),)))
    found = price_build(made, shop.view()).lines[0]
    assert (supplier(found), found.share, found.to_spend) == ("long", D("15.00"), D("15.00"))


def test_part_of_a_set_counts_its_share() -> None:
    shop = plates()
    shop.parts["film"] = part("film", "m2")
    extra = (Supply("film", amount("1 m2"), D("0.6")),)
    shop.sell("ply", "0.25 m2", "20.00", "bundle", others=extra, split="0.4")
    lines = (line("ply", "0.2 m2", counts="whole"), line("film", "1 m2", counts="whole"))
    found = price_build(build(*lines), shop.view())
    assert [(supplier(x), x.share) for x in found.lines] == [
        ("bundle", D("8.00")),  # 40 % of 20.00, less than 9.00
        ("bundle", D("12.00")),
    ]


def test_alternatives_compare_by_what_is_opened() -> None:
    """A piece of ply at 9.00 against a whole sheet of balsa at 6.00, dearer a m2."""
    shop = plates()
    shop.parts["balsa"] = part("balsa", "m2")
    shop.sell("balsa", "0.1 m2", "6.00")
    ways = (Alternative("ply", amount("0.05 m2")), Alternative("balsa", amount("0.05 m2")))
    found = price_build(build(line(None, "0.05 m2", choose=ways, counts="whole")), shop.view())
    assert (found.lines[0].part, found.totals.share) == ("balsa", D("6.00"))
    shared = price_build(build(line(None, "0.05 m2", choose=ways)), shop.view())
    assert (shared.lines[0].part, shared.totals.share) == ("ply", D("1.00"))


def test_unusable_listings_wait() -> None:
    shop = plates()
    shop.prices[2] = replace(shop.prices[2], doubtful="a tenth of the usual price")
    found = price_build(build(line("ply", "0.2 m2", counts="whole")), shop.view()).lines[0]
    assert (supplier(found), found.share) == ("large", D("20.00"))


def test_versions_all_builds_and_the_course_over_time_agree() -> None:
    shop = plates()
    small = build(line("ply", "0.2 m2", counts="whole"), key="small")
    large = build(key="large", base="small", replace=(Replacement("ply", "ply", amount("0.6 m2")),))
    view = shop.view(builds={"small": small, "large": large})
    before, after = (price_build(one, view) for one in (small, large))
    assert (before.totals.share, after.totals.share) == (D("9.00"), D("20.00"))
    assert compare(before, after).share == D("11.00")
    totals = price_all([small, large], view).totals()
    assert [(t.share, t.to_spend) for t in totals.values()] == [(900, 900), (2000, 2000)]
    spells = [Spell(x.id, shop.prices[x.id].offer, NOW, NOW, polls=1) for x in shop.listings]
    assert cost_series(small, view, spells, [NOW])[0].share == D("9.00")


def test_all_builds_follow_the_plate_that_becomes_cheaper() -> None:
    shop = plates()
    everything = price_all([build(line("ply", "0.2 m2", counts="whole"))], shop.view())
    for listing, price, cents in ((1, "8.50", 850), (2, "30.00", 850), (1, "31.00", 3000)):
        assert everything.change(PriceNow(listing, Offer(D(price), "EUR"), NOW)) == ["curlew"]
        total = everything.totals()["curlew"]
        assert (total.share, total.to_spend) == (cents, cents)


def test_a_published_build_keeps_both_plates_of_a_part() -> None:
    """What somebody spends who has nothing: the large plate for the share, a small one."""
    view = plates().view(on_hand={"ply": Stock(D(2))})
    made = build(line("ply", "0.2 m2"), line("ply", "0.2 m2", counts="whole"))
    fixed, tied = as_chosen(made, price_build(made, view), view)
    bare = price_build(fixed, replace(tied, on_hand={}))
    assert [x.to_spend for x in bare.lines] == [D("20.00"), D("9.00")]


def test_an_order_plan_buys_the_same_plate() -> None:
    market = Market(plates().view(), "EUR")
    plan = make_plan([Asked(build(line("ply", "0.2 m2", counts="whole")))], market, weigh=0.0)
    bought = [(b.good.listing.supplier, b.steps) for order in plan.orders for b in order.buys]
    assert (bought, plan.total) == ([("small", 1)], D("9.00"))


@given(st.integers(0, 100_000))
@settings(max_examples=60, deadline=None)
def test_nothing_else_would_cost_less_and_all_builds_at_once_agree(seed: int) -> None:
    """Every listing tried by hand: ceil(need / content) x price."""
    rng = random.Random(seed)
    shop = Shop(part("ply", "m2"))
    sold = [(D(rng.randint(1, 40)) / 20, D(rng.randint(1, 4000)) / 100) for _ in range(4)]
    for number, (content, price) in enumerate(sold):
        shop.sell("ply", f"{content} m2", str(price), f"s{number}")
    need = D(rng.randint(1, 300)) / 100
    made = build(line("ply", f"{need} m2", counts="whole"))
    least = min(ceil(F(need) / F(content)) * price for content, price in sold)
    found = price_build(made, shop.view())
    assert (found.totals.share, found.totals.to_spend) == (least, least)
    total = price_all([made], shop.view()).totals()["curlew"]
    assert (total.share, total.to_spend) == (least * 100, least * 100)


class TestPaid:
    """What was paid for units that were opened, first in first out (common practice)."""

    old = Purchase("ply", D(2), Money(D(16), "EUR"), content=D("0.25"), on=date(2026, 10, 1), id=1)
    new = Purchase("ply", D(1), Money(D(21), "EUR"), content=D(1), on=date(2026, 11, 1), id=2)

    def cost(self, *texts: str, held: dict[str, list[Holding]] | None = None) -> BuildCost:
        """`0.2 whole` or `0.3 share`, from the two small plates first, then the large one."""
        free = [Holding(self.old, F(1, 2)), Holding(self.new, F(1))]
        view = plates().view(on_hand={}, holdings={"": free} if held is None else held)
        pairs = [text.split() for text in texts]
        return price_build(build(*(line("ply", f"{n} m2", counts=c) for n, c in pairs)), view)

    def paid(self, *texts: str, **more: dict[str, list[Holding]]) -> list[str | None]:
        return [None if x.paid is None else str(x.paid) for x in self.cost(*texts, **more).lines]

    @pytest.mark.parametrize(
        ("text", "paid"),
        [
            ("0.2 whole", "8.00"),  # one of the two small ones
            ("0.3 whole", "16.00"),  # both
            ("0.6 whole", "37.00"),  # and the large one for the last 0.1 m2
            ("0.2 share", "6.40"),
            ("0.6 share", "18.10"),  # 16.00 and a tenth of 21.00
        ],
    )
    def test_whole_units_are_paid_whole(self, text: str, paid: str) -> None:
        assert self.paid(text) == [paid]

    def test_like_what_was_spent_for_it(self) -> None:
        cost = self.cost("0.6 whole")
        assert cost.totals.paid == cost.totals.spent == D("37.00")

    def test_the_rest_of_an_opened_unit_is_paid_already(self) -> None:
        assert self.paid("0.2 whole", "0.05 share") == ["8.00", "0.00"]
        assert self.paid("0.2 whole", "0.1 share") == ["8.00", "1.60"]  # 0.05 m2 of the next
        assert self.paid("0.1 whole", "0.1 whole", "0.1 whole") == ["8.00", "0.00", "8.00"]

    def test_of_a_unit_that_another_line_began_the_piece_is_paid(self) -> None:
        assert self.paid("0.1 share", "0.1 whole") == ["3.20", "3.20"]
        assert self.paid("0.1 share", "0.2 whole") == ["3.20", "12.80"]  # 0.15 m2, and the next

    def test_of_a_unit_that_another_build_began_the_piece_is_paid(self) -> None:
        free = [Holding(self.old, F(3, 10), start=F(1, 5))]
        assert self.paid("0.04 whole", held={"": free}) == ["1.28"]
        assert self.paid("0.2 whole", held={"": free}) == ["9.60"]  # 0.05 m2, and 8.00

    def test_all_that_the_build_took_is_paid_once(self) -> None:
        taken = Holding(self.old, F(1, 4))
        rest = Holding(self.old, F(1, 4), start=F(1, 4))
        held = {"curlew": [taken], "": [rest]}
        assert self.paid("0.2 whole", held=held) == ["8.00"]
        assert self.paid("0.2 share", held=held) == ["8.00"]  # 6.40 and what no line asks for
        cut = {"curlew": [Holding(self.old, F(1, 5))], "": [Holding(self.old, F(3, 10), F(1, 5))]}
        assert self.paid("0.2 whole", held=cut) == ["8.00"]
        assert self.paid("0.24 whole", held=cut) == ["8.00"]
        assert self.paid("0.2 share", held=cut) == ["6.40"]

    def test_of_a_running_metre_no_more_is_paid_than_was_bought(self) -> None:
        half = Purchase("ply", D("0.5"), Money(D(10), "EUR"), on=date(2026, 11, 1))
        assert self.paid("0.3 whole", held={"": [Holding(half, F(1, 2))]}) == ["10.00"]

    def test_what_is_there_in_part_is_said_in_the_parts_own_unit(self) -> None:
        shop = Shop(part("hinge", "pair"))
        shop.sell("hinge", "4 pairs", "4.00")
        two = Purchase("hinge", D(1), Money(D(2), "EUR"), content=D(4), on=date(2026, 11, 1))
        view = shop.view(on_hand={}, holdings={"": [Holding(two, F(4))]})
        found = price_build(build(line("hinge", "3 pairs")), view).lines[0]
        assert "paid covers 2 of 3 pair" in found.hint

    @given(st.lists(st.tuples(st.integers(1, 30), st.sampled_from(["share", "whole"])), max_size=5))
    @settings(max_examples=80, deadline=None)
    def test_never_more_than_left_the_account(self, lines: list[tuple[int, str]]) -> None:
        texts = [f"{D(n) / 50} {how}" for n, how in lines]
        cost = self.cost(*texts)
        paid = [x.paid or D(0) for x in cost.lines]
        spent = cost.totals.spent or D(0)
        assert sum(paid) <= spent + D("0.01") * len(paid)  # each line rounds by half a cent
        if lines and all(how == "whole" for _, how in lines):
            assert sum(paid) == spent
