"""Delivered: shipping, fees, duty, import tax and the payment fee, shared over an order's lines."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction

import pytest
from builds_kit import Shop, amount, line, part
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds.cents import share_out
from service.builds.cost import price_build
from service.builds.cost_json import cost_to_json
from service.builds.delivery import Parcel, cheapest, tiers_of
from service.builds.landed import Lot, landed
from service.builds.offers import market_of
from service.builds.plan import Asked, make_plan
from service.model.builds import Build
from service.model.catalogue import Fee, ShippingRow, Supplier, Supply
from service.model.money import Money, Rate, Rates

D, F = Decimal, Fraction
BEFORE = datetime(2026, 6, 30, 12, tzinfo=UTC)
HOME = (ShippingRow("NL", D("4.95"), free_from=D("75.00")), ShippingRow("*", D("12.50")))


def build(*lines, **more) -> Build:
    return Build("b", "B", "EUR", lines, **more)


def two_lines(**supplier) -> Shop:
    shop = Shop(part("rod"), part("tube")).supplier("quillfeather", country="NL", **supplier)
    shop.sell("rod", "1 piece", "10.00")
    shop.sell("tube", "1 piece", "20.00")
    return shop


BOTH = build(line("rod", "1 piece"), line("tube", "1 piece"))


def test_one_delivery_is_shared_by_price_to_the_cent() -> None:  # 4.95 over 10 and 20
    cost = price_build(BOTH, two_lines(shipping=HOME, currency="EUR").view(destination="NL"))
    assert [x.delivered for x in cost.lines] == [D("11.65"), D("23.30")]
    assert cost.totals.delivered == D("34.95")
    assert dict(cost.groups)["other"].delivered == D("34.95")
    order = cost_to_json(cost)["orders"][0]
    assert order == {
        "supplier": "quillfeather",
        "country": "NL",
        "goods": "30.00",
        "charges": [{"name": "shipping", "cost": "4.95"}],
        "delivered": "34.95",
        "unknown": [],
    }


def test_free_from_a_value_of_the_order() -> None:  # 10 + 3 x 20 is 70, 10 + 4 x 20 is 90
    view = two_lines(shipping=HOME, currency="EUR").view(destination="NL")
    for count, total in ((3, "74.95"), (4, "90.00")):
        lines = (line("rod", "1 piece"), line("tube", f"{count} pieces"))
        assert price_build(build(*lines), view).totals.delivered == D(total)


def test_the_destination_of_the_build_goes_before_the_settings() -> None:
    shop = Shop(part("rod")).supplier("quillfeather", country="NL", shipping=HOME, currency="EUR")
    shop.sell("rod", "1 piece", "12.10")
    cost = price_build(build(line("rod", "1 piece"), destination="DE"), shop.view(destination="NL"))
    assert cost.totals.to_spend == D("11.90")  # 21 % of NL gives way to 19 % of DE
    assert cost.totals.delivered == D("24.40")  # and the row of everywhere else


@pytest.mark.parametrize(
    ("grams", "fee"), [("900", "4.95"), ("2000", "6.95"), ("2001", "11.95"), ("40000", None)]
)
def test_zones_by_mass(grams: str, fee: str | None) -> None:  # a carrier's usual table
    rows = (
        ShippingRow("NL", D("4.95"), up_to_g=D(1000)),
        ShippingRow("NL", D("6.95"), up_to_g=D(2000)),
        ShippingRow("NL", D("11.95"), up_to_g=D(23000)),
    )
    shop = Supplier("s", "S", currency="EUR", shipping=rows)
    found = cheapest(tiers_of(shop, "NL"), Parcel(F(10), F(grams), True, frozenset()))
    assert (found and found.fee) == (fee and D(fee))


def test_a_row_for_the_goods_goes_before_rows_for_all() -> None:
    shop = Supplier(
        "s",
        "S",
        currency="EUR",
        shipping=(
            ShippingRow("*", D("12.50"), up_to=D(150), not_classes=("lithium",)),
            ShippingRow("*", D("29.00"), classes=("lithium",)),
            ShippingRow("*", D("19.00"), classes=("long",)),
        ),
    )

    def fee(value: int, *classes: str) -> Decimal | None:
        parcel = Parcel(F(value), F(1), True, frozenset(classes))
        found = cheapest(tiers_of(shop, "DE"), parcel)
        return found and found.fee

    assert (fee(150), fee(151)) == (D("12.50"), None)
    assert (fee(20, "lithium"), fee(20, "long")) == (D(29), D(19))
    assert fee(20, "lithium", "long") == D(29)


def test_an_unknown_mass_counts_as_the_heaviest_and_is_named() -> None:
    rows = (ShippingRow("NL", D("4.95"), up_to_g=D(500)), ShippingRow("NL", D("9.95")))
    cost = price_build(BOTH, two_lines(shipping=rows, currency="EUR").view(destination="NL"))
    assert cost.totals.delivered == D("39.95")
    assert "Quillfeather: shipping as for the heaviest parcel, mass unknown: rod, tube" in (
        cost.warnings
    )


def test_fees_by_amount_by_value_and_by_goods() -> None:  # 30.00: 0.90 + 1.2 % = 0.36
    fees = (
        Fee("packing", amount=D("0.90")),
        Fee("card", percent=D("1.2")),
        Fee("danger", amount=D(6), when_class="lithium"),
    )
    free = (ShippingRow("NL", D(0)),)
    shop = two_lines(shipping=free, currency="EUR", fees=fees)
    cost = price_build(BOTH, shop.view(destination="NL"))
    assert cost.totals.delivered == D("31.26")
    assert [(c.name, c.cost) for c in cost.orders[0].charges] == [
        ("packing", D("0.90")),
        ("card", D("0.36")),
    ]
    shop.parts["rod"] = replace(shop.parts["rod"], classes=("lithium",))
    assert price_build(BOTH, shop.view(destination="NL")).totals.delivered == D("37.26")


def test_what_is_not_known_is_named_with_what_to_add() -> None:
    cost = price_build(BOTH, two_lines(currency="EUR").view(destination="NL"))
    assert [x.delivered for x in cost.lines] == [None, None]
    assert cost.totals.delivered is None
    assert cost.totals.to_spend == D("30.00")
    (told,) = cost.warnings
    assert told.startswith("delivered is not known: no shipping from Quillfeather to NL: add ")
    assert told.endswith('shipping = [{ to = "NL", fee = "..." }] to [supplier.quillfeather]')


def test_without_a_destination_only_rows_for_everywhere_tell() -> None:
    cost = price_build(BOTH, two_lines(shipping=HOME, currency="EUR").view())
    assert cost.totals.delivered is None
    assert "say where to: destination" in cost.warnings[0]
    anywhere = (ShippingRow("*", D("3.00")),)
    cost = price_build(BOTH, two_lines(shipping=anywhere, currency="EUR").view())
    assert cost.totals.delivered == D("33.00")


def test_lines_that_buy_nothing_bear_nothing() -> None:
    shop = two_lines(shipping=HOME, currency="EUR")
    lines = (line("rod", "1 piece"), line("tube", "1 piece", counts="owned"))
    cost = price_build(build(*lines), shop.view(destination="NL"))
    assert [x.delivered for x in cost.lines] == [D("14.95"), D("0.00")]


def test_a_line_without_price_leaves_the_rest_as_at_least() -> None:
    shop = two_lines(shipping=HOME, currency="EUR")
    shop.parts["wire"] = part("wire")
    cost = price_build(
        build(line("rod", "1 piece"), line("wire", "1 piece")), shop.view(destination="NL")
    )
    assert (cost.totals.delivered, cost.totals.complete) == (D("14.95"), False)


def from_afar(country: str = "US", **more) -> Shop:
    """Motor 40 and connectors 12 without tax, shipping 8, by hand of a handler at no fee."""
    motor, plug = part("motor", tariff_group="motor"), part("plug", tariff_group="plug")
    shop = Shop(motor, plug).supplier(
        "far", country=country, currency="EUR", shipping=(ShippingRow("*", D(8)),), **more
    )
    shop.sell("motor", "1 piece", "40.00", "far")
    shop.sell("plug", "1 piece", "12.00", "far")
    return shop


AFAR = build(line("motor", "1 piece"), line("plug", "1 piece"))
NO_HANDLING = '[country.EU]\nhandling = "0 EUR"\n[country.DE]\nhandling = "0 EUR"\n'


def test_flat_duty_and_import_tax() -> None:
    # Council Regulation (EU) 2026/382: 3 EUR a tariff code; VAT on goods, transport and duty.
    # 40 + 12 + 8 + 6 = 66.00, at 19 % 78.54; goods with their tax stand in `to spend`.
    view = from_afar().view(destination="DE", import_rules=NO_HANDLING)
    cost = price_build(AFAR, view)
    assert cost.totals.to_spend == D("61.88")
    assert cost.totals.delivered == D("78.54")
    assert [(c.name, c.cost) for c in cost.orders[0].charges] == [
        ("shipping", D("8.00")),
        ("duty", D("6.00")),
        ("import tax", D("2.66")),
    ]


def test_splitting_a_parcel_saves_no_flat_duty() -> None:
    # At 20 % (FR), by the rules of the Commission's guidance of 2 June 2026 (two codes: 6.00 and
    # 1.20 of tax on them): 40 + 12, shipping 8 in one parcel 79.20, in two of 8 each 88.80.
    own = '[country.FR]\nhandling = "0 EUR"\n'
    view = from_afar().view(destination="FR", import_rules=own)
    assert price_build(AFAR, view).totals.delivered == D("79.20")
    shop = from_afar()
    shop.suppliers["other"] = replace(shop.suppliers["far"], key="other", name="Other")
    shop.listings[1] = replace(shop.listings[1], supplier="other")
    view = shop.view(destination="FR", import_rules=own)
    cost = price_build(AFAR, view)
    assert (len(cost.orders), cost.totals.delivered) == (2, D("88.80"))


def test_goods_of_a_country_of_unknown_tax_bear_the_whole_import_tax() -> None:
    # no rate is known for CN: 52.00 count as shown; 8 + 6 + 19 % of 66.00 come on top
    cost = price_build(AFAR, from_afar("CN").view(destination="DE", import_rules=NO_HANDLING))
    assert (cost.totals.to_spend, cost.totals.delivered) == (D("52.00"), D("78.54"))
    assert ("import tax", D("12.54")) in [(c.name, c.cost) for c in cost.orders[0].charges]


def test_a_tax_of_ones_own_is_on_the_goods_too() -> None:  # 66.00 x 1.05 instead of 1.19
    own = NO_HANDLING.replace("[country.DE]", '[country.DE]\ntax = "5"')
    cost = price_build(AFAR, from_afar().view(destination="DE", import_rules=own))
    assert (cost.totals.to_spend, cost.totals.delivered) == (D("61.88"), D("69.30"))


def test_before_july_2026_there_was_no_duty_up_to_150() -> None:  # (52 + 8) x 1.19 = 71.40
    shop = from_afar()
    view = shop.view(destination="DE", at=BEFORE, import_rules=NO_HANDLING)
    assert price_build(AFAR, view).totals.delivered == D("71.40")


def test_the_carriers_fee_at_the_border_comes_on_top() -> None:
    own = '[country.DE]\nhandling = "7.50 EUR"\n'
    cost = price_build(AFAR, from_afar().view(destination="DE", import_rules=own))
    assert cost.totals.delivered == D("86.04")


def test_no_border_inside_the_union() -> None:
    shop = from_afar("NL")
    cost = price_build(AFAR, shop.view(destination="DE"))
    assert cost.totals.delivered == cost.totals.to_spend + D(8)


def test_a_supplier_without_country_cannot_tell_its_customs() -> None:
    shop = from_afar()
    shop.suppliers["far"] = replace(shop.suppliers["far"], country=None)
    cost = price_build(AFAR, shop.view(destination="DE"))
    assert cost.totals.delivered is None
    assert any("Far has no country" in text for text in cost.warnings)


def test_prices_without_tax_have_shipping_without_tax() -> None:  # (10 + 5) x 1.21
    shop = Shop(part("rod")).supplier(
        "trade",
        country="NL",
        currency="EUR",
        prices="without-tax",
        shipping=(ShippingRow("NL", D(5)),),
    )
    shop.sell("rod", "1 piece", "10.00", "trade")
    cost = price_build(build(line("rod", "1 piece")), shop.view(destination="NL"))
    assert cost.totals.delivered == D("18.15")


def test_paying_abroad_marks_up_shipping_and_adds_its_fee_once_an_order() -> None:
    # 1 EUR = 1.25 USD; 10.00 USD with 2 % are 8.16 EUR; shipping 5.00 USD 4.08; fee 0.30
    shop = Shop(part("rod"), part("tube")).supplier(
        "far", country="NL", currency="USD", shipping=(ShippingRow("*", D(5)),)
    )
    shop.sell("rod", "1 piece", "10.00", "far", currency="USD")
    shop.sell("tube", "1 piece", "10.00", "far", currency="USD")
    rates = Rates({"USD": Rate(D("1.25"), BEFORE.date())})
    fee = Money(D("0.30"), "EUR")
    view = shop.view(rates=rates, markup=D("0.02"), fee=fee, account="EUR")
    cost = price_build(BOTH, view)
    assert [x.to_spend for x in cost.lines] == [D("8.16"), D("8.16")]
    assert [(c.name, c.cost) for c in cost.orders[0].charges] == [
        ("shipping", D("4.08")),
        ("payment fee", D("0.30")),
    ]
    assert cost.totals.delivered == D("20.70")
    assert [x.delivered for x in cost.lines] == [D("10.35"), D("10.35")]
    at_home = replace(view, account="USD")
    assert price_build(BOTH, at_home).totals.delivered == D("20.00")


def test_an_order_below_the_least_is_told() -> None:
    shop = two_lines(shipping=HOME, currency="EUR", min_order=D(50))
    cost = price_build(BOTH, shop.view(destination="NL"))
    assert cost.warnings == (
        "Quillfeather takes orders from 50.00 EUR on, this one comes to 30.00 EUR",
    )


def test_a_set_weighs_all_that_it_holds() -> None:
    heavy, light = part("motor", mass=amount("1500 g")), part("esc", mass=amount("100 g"))
    rows = (ShippingRow("NL", D(5), up_to_g=D(1550)), ShippingRow("NL", D(9)))
    shop = Shop(heavy, light).supplier("combo", country="NL", currency="EUR", shipping=rows)
    esc = Supply("esc", amount("1 piece"), D("0.4"))
    shop.sell("motor", "1 piece", "100.00", "combo", others=(esc,), split="0.6")
    cost = price_build(
        build(line("motor", "1 piece"), line("esc", "1 piece")), shop.view(destination="NL")
    )
    assert cost.totals.delivered == D("109.00")


cents = st.decimals("0.01", "400", places=2)


@given(st.decimals("-20", "90", places=2), st.lists(st.fractions(0, 99), min_size=1, max_size=9))
def test_parts_of_a_sum_add_up_to_it(total, weights) -> None:
    parts = share_out(total, weights, "EUR")
    assert sum(parts) == total
    whole = sum(weights)
    for own, weight in zip(parts, weights, strict=True):
        exact = F(total) * (weight / whole if whole else F(1, len(weights)))
        assert abs(F(own) - exact) < F(1, 100)


@settings(max_examples=80, deadline=None)
@given(
    goods=st.lists(st.tuples(st.sampled_from("xyz"), cents, st.integers(1, 9)), max_size=9),
    fees=st.tuples(cents, cents, cents),
    countries=st.tuples(*[st.sampled_from(["NL", "DE", "GB", "US", "CH", "CN"])] * 3),
    to=st.sampled_from(["NL", "DE", "GB", "CH"]),
    currencies=st.tuples(*[st.sampled_from(["EUR", "USD", "GBP"])] * 3),
    percent=st.decimals("0.1", "5", places=1),
    code=st.sampled_from(["EUR", "JPY", "KWD"]),  # 2, 0 and 3 decimals (ISO 4217)
)
def test_lines_groups_and_orders_add_up(
    goods, fees, countries, to, currencies, percent, code
) -> None:
    parts = [part(f"p{n}") for n in range(len(goods))]
    shop = Shop(*parts)
    for key, fee, country, own in zip("xyz", fees, countries, currencies, strict=True):
        rows = (ShippingRow(to, fee, free_from=D(300)), ShippingRow("*", fee + 1))
        charge = (Fee("card", percent=percent),)
        shop.supplier(key, country=country, currency=own, shipping=rows, fees=charge)
    lines = []
    for n, (key, price, count) in enumerate(goods):
        shop.sell(f"p{n}", "1 piece", str(price), key, currency=currencies["xyz".index(key)])
        lines.append(line(f"p{n}", f"{count} pieces", group=f"g{n % 3}"))
    day = BEFORE.date()
    known = {"USD": "1.17", "GBP": "0.87", "CHF": "0.93", "JPY": "170.09", "KWD": "0.36"}
    rates = Rates({name: Rate(D(value), day) for name, value in known.items()})
    view = shop.view(
        destination=to,
        rates=rates,
        markup=D("0.015"),
        fee=Money(D("0.35"), "EUR"),
        account="EUR",
    )
    made = replace(build(*lines), currency=code)
    cost = price_build(made, view)
    whole = sum((x.delivered or D(0) for x in cost.lines), D(0))
    assert (cost.totals.delivered or 0) == whole
    assert sum((s.delivered or D(0) for _, s in cost.groups), D(0)) == whole
    assert sum((o.goods + (o.extra or 0) for o in cost.orders), D(0)) == whole
    market = market_of(view, code)
    plan = make_plan([Asked(made)], market, weigh=False)
    assert not cost.orders or plan.total <= whole  # it may buy more, for free delivery
    units = {b.good.listing.key: b.units for order in plan.orders for b in order.buys}
    if units == {x.listing.key: F(x.buy) for x in cost.lines if x.listing}:
        assert plan.total == whole
    for order in cost.orders:  # the same lots, asked as an order plan asks
        mine = [x for x in cost.lines if x.listing and x.listing.supplier == order.supplier]
        quotes = [market.quotes(shop.parts[x.part])[0] for x in mine]
        lots = [Lot(q, F(x.buy)) for q, x in zip(quotes, mine, strict=True)]
        assert landed(lots, market).charges == order.charges
        assert sum(x.delivered for x in mine) == order.goods + order.extra
