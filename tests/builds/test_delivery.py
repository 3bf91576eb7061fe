"""Delivery tables as shops print them, read row by row (common practice; sums by hand)."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from service.builds.delivery import Parcel, cheapest, fee_of, fees_due, tiers_of
from service.model.catalogue import Fee, ShippingRow, Supplier

D = Decimal


def row(to: str, fee: str, **more) -> ShippingRow:
    numbers = {k: D(v) for k, v in more.items() if k in ("free_from", "up_to_g", "up_to")}
    rest = {k: v for k, v in more.items() if k in ("days", "classes", "not_classes")}
    return ShippingRow(to, D(fee), **numbers, **rest)


def fee(rows, to="NL", value="10", grams="100", *, weighed=True, classes=()) -> str | None:
    shop = Supplier("s", "S", currency="EUR", shipping=tuple(rows))
    parcel = Parcel(Fraction(D(value)), Fraction(D(grams)), weighed, frozenset(classes))
    found = cheapest(tiers_of(shop, to), parcel)
    return None if found is None else str(found.fee)


HOME = [row("NL", "4.95", free_from="75.00"), row("*", "12.50")]


@pytest.mark.parametrize(
    ("to", "value", "told"),
    [
        ("NL", "74.99", "4.95"),
        ("NL", "75.00", "0"),
        ("DE", "75.00", "12.50"),
        (None, "10", "12.50"),
    ],
)
def test_zones_and_free_delivery(to, value, told):
    assert fee(HOME, to, value) == told


def test_a_country_that_no_row_names_is_not_known():
    assert fee([row("NL", "4.95")], "DE") is None
    assert fee([], "NL") is None


STEPS = [row("NL", "4", up_to_g="1000"), row("NL", "7", up_to_g="5000"), row("NL", "15")]


@pytest.mark.parametrize(
    ("grams", "told"), [("1000", "4"), ("1000.001", "7"), ("5000", "7"), ("5001", "15")]
)
def test_steps_of_mass(grams, told):
    assert fee(STEPS, grams=grams) == told


def test_an_unknown_mass_counts_as_the_heaviest_parcel():
    assert fee(STEPS, grams="10", weighed=False) == "15"
    assert fee(STEPS[:2], grams="10", weighed=False) == "7"  # nothing heavier is sent
    assert fee(STEPS[:2], grams="6000") is None


def test_small_orders_may_cost_more():
    # a surcharge for small orders: 7.00 up to 50.00, then 4.00
    rows = [row("NL", "7", up_to="50"), row("NL", "4")]
    assert [fee(rows, value=v) for v in ("50.00", "50.01")] == ["7", "4"]
    assert [fee(rows[::-1], value=v) for v in ("50.00", "50.01")] == ["7", "4"]


def test_dangerous_goods_have_a_row_of_their_own():
    rows = [row("*", "12.50", not_classes=("lithium",)), row("*", "29", classes=("lithium",))]
    assert fee(rows) == "12.50"
    assert fee(rows, classes=["lithium"]) == "29"
    assert fee(rows[:1], classes=["lithium"]) is None
    # without not_class the row for the goods still goes first
    assert fee([row("*", "12.50"), rows[1]], classes=["lithium", "resin"]) == "29"


def test_of_two_dangerous_goods_the_dearer_row():
    rows = [row("*", "5"), row("*", "9", classes=("resin",)), row("*", "29", classes=("lithium",))]
    assert fee(rows, classes=["resin"]) == "9"
    assert fee(rows, classes=["resin", "lithium"]) == "29"


def test_of_slow_and_fast_the_cheaper():
    assert fee([row("NL", "12", days="1"), row("NL", "5", days="3-5")]) == "5"


def test_fees_of_an_order():
    # packing 0.90; dangerous goods 6.00 with lithium; card 1.2 % of 50.00 = 0.60
    given = (
        Fee("packing", D("0.90")),
        Fee("dangerous goods", D("6.00"), when_class="lithium"),
        Fee("card", percent=D("1.2")),
    )
    shop = Supplier("s", "S", fees=given)
    assert [f.name for f in fees_due(shop, frozenset())] == ["packing", "card"]
    due = fees_due(shop, frozenset({"lithium"}))
    assert sum(fee_of(f, Fraction(50)) for f in due) == Fraction(D("7.50"))
