"""Import cost against published examples and hand sums."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from service.builds.border import Border, Consignment, border_of, import_cost, parse_rules
from service.errors import InputError
from service.model.money import Money

D, F = Decimal, Fraction
ONE = {"EUR": F(1), "GBP": F(1), "CHF": F(1)}
BEFORE, NOW = date(2026, 6, 30), date(2026, 11, 24)


def border(country: str = "NL", day: date = NOW, tax: str = "20", **more) -> Border:
    found = border_of(country, day)
    assert found is not None
    return replace(found, tax=D(tax), handling=None, **more)


def cost(rule: Border, goods: dict[str, str], delivery: str = "0", currency: str = "EUR"):
    parts = {group: F(D(value)) for group, value in goods.items()}
    sent = Consignment(parts, F(D(delivery)), sum(parts.values(), F(0)))
    return import_cost(rule, sent, currency, ONE)


@pytest.mark.parametrize(
    ("goods", "delivery", "vat", "total"),
    [("100", "0", "20.00", "120"), ("100", "60", "32.00", "192"), ("160", "30", "38.00", "228")],
)
def test_vat_examples_of_the_commission(goods, delivery, vat, total):
    # European Commission, import scheme of 1 July 2021, examples A to C at 20 %: 100; 100 with 30
    # of transport and 30 of insurance; 160 with 30 (ordinary duty comes on top, left out here).
    found = cost(border(day=BEFORE, percent=D(0)), {"x": goods}, delivery)
    assert (found.duty, found.tax) == (0, D(vat))
    assert D(goods) + D(delivery) + found.total == D(total)


@pytest.mark.parametrize(
    ("groups", "duty"),
    # Council press release of 11 February 2026 (one silk and two wool blouses: 6), law firm
    # note of 2 July 2026 (five T-shirts: 3; T-shirt and watch: 6).
    [(("silk", "wool"), "6.00"), (("t-shirt",), "3.00"), (("t-shirt", "watch"), "6.00")],
)
def test_flat_duty_counts_tariff_groups_not_pieces(groups, duty):
    assert cost(border(tax="0"), dict.fromkeys(groups, "10")).duty == D(duty)


def test_vat_on_the_flat_duty():
    # summary of the Commission's guidance of 2 June 2026: two codes in France cost 6 + 1.20
    found = cost(border("FR"), {"a": "0", "b": "0"})
    assert found.total == D("7.20")


@pytest.mark.parametrize(("tax", "vat"), [("20", "13.20"), ("19", "12.54")])
def test_an_order_of_a_motor_and_connectors(tax, vat):
    # 40 + 12 of goods, 8 of delivery, two groups: tax of 52 + 8 + 6 = 66
    found = cost(border(tax=tax), {"motor": "40", "connector": "12"}, "8")
    assert (found.duty, found.tax) == (D("6.00"), D(vat))


def test_splitting_a_parcel_saves_no_flat_duty():
    # 66.00 of tax base in one parcel: 79.20; two parcels with 8 of delivery each: 88.80
    first = cost(border(), {"motor": "40"}, "8").total + 48
    second = cost(border(), {"connector": "12"}, "8").total + 20
    assert first + second == D("88.80")
    assert cost(border(), {"motor": "40", "connector": "12"}, "8").total + 60 == D("79.20")


def test_the_limit_looks_at_the_goods_alone():
    # customs authorities of DE and ES: 150.00 is within, 150.01 is not, delivery left out
    assert cost(border(), {"x": "150.00"}, "40").within
    assert not cost(border(), {"x": "150.01"}).within


def test_above_the_limit_the_ordinary_duty():
    # 200 of motors at 2.7 %, delivery 20 at 4.2 %: 5.40 + 0.84 = 6.24; 21 % of 226.24 = 47.51
    found = cost(border(tax="21"), {"motor": "200"}, "20")
    assert (found.duty, found.tax) == (D("6.24"), D("47.51"))


def test_united_kingdom_up_to_135():
    # HM Revenue and Customs: no duty up to 135 GBP, VAT on goods and postage: 20 % of 110
    found = cost(border("GB"), {"x": "100"}, "10", "GBP")
    assert found.within
    assert (found.duty, found.tax) == (0, D("22.00"))


def test_small_charges_are_not_levied():
    # German customs, orders on the internet: under 1 EUR nothing is levied. 19 % of 5 = 0.95
    rule = replace(border("DE", tax="19", a_group=D(0)), handling=Money(D(6), "EUR"))
    assert cost(rule, {"x": "5"}).total == 0
    assert cost(rule, {"x": "6"}).total == D("7.14")


def test_a_duty_that_nobody_knows_is_named():
    # US: the relief of 800 USD is suspended since 29 August 2025 (EO 14324)
    found = border_of("US", NOW)
    assert found is not None
    sent = Consignment({"motor": F(10)}, F(5), F(10))
    assert import_cost(found, sent, "USD", {"USD": F(1)}).unknown == "duty of motor"
    assert border_of("US", date(2025, 8, 28)).up_to == 800
    assert border_of("NL", date(2028, 7, 1)) is None  # the regulation ends
    assert border_of("BR", NOW) is None


def test_the_users_own_rules_go_over():
    own = """
checked = 2027-01-02
[[rule]]
to = "BR"
from = 2026-01-01
currency = "BRL"
percent = "60"
[country.BR]
tax = "17"
[country.NL]
handling = "4.50 EUR"
[duty.EU]
motor = "9.9"
"""
    assert border_of("BR", NOW, own).percent == 60
    mine = border_of("NL", NOW, own)
    assert mine.handling == Money(D("4.50"), "EUR")
    assert (mine.rate_of("motor"), mine.rate_of("resin")) == (D("9.9"), D("6.5"))


def test_a_wrong_file_says_what_to_write():
    with pytest.raises(InputError) as raised:
        parse_rules('[[rule]]\nto = "NL"\nup_to = 150\n[country.NL]\nhandling = "x"\nfee = "1"')
    told = "\n".join(raised.value.problems)
    for words in ("from is missing", 'up_to: write a number such as "150"', "7.90 EUR", "fee: no"):
        assert words in told
