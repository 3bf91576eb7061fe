"""Amounts of a part in its own unit, unit prices, and what does not fit."""

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from builds_kit import Shop, amount, brk, build, line, part, rates

from scrapers import UnitError
from service.builds.amounts import base_amount, check_line_fits, mass_of
from service.builds.breaks import cost_of
from service.builds.cents import exact_rate, number_text, to_cents, to_decimal
from service.builds.cost import price_build
from service.model.builds import Cut

D, F = Decimal, Fraction
CHECKS = Path(__file__).parents[2].parent / "shared" / "checks"

# Directive 98/6/EC Art. 2(b): the price for one kg, l, m, m2 or piece
# (part's unit, sold as, price, per, price per, to two places)
UNIT_PRICES = [
    ("ml", "250 ml", "12.99", "1 l", "51.96"),
    ("m2", "1 m x 5 m", "24.50", "1 m2", "4.90"),
    ("m2", "300 x 1200 mm", "7.95", "1 m2", "22.08"),
    ("m", "1 m", "8.90", "1 m", "8.90"),
    ("piece", "50 pieces", "3.49", "1 piece", "0.07"),
    ("piece", "50 pieces", "3.49", "100 pieces", "6.98"),
    ("g", "20 g", "5.49", "1 kg", "274.50"),
    ("m", "25 ft", "9.99", "1 m", "1.31"),  # 1 ft = 0.3048 m exactly
    ("m2", "1 yd2", "8.00", "1 m2", "9.57"),  # 1 yd = 0.9144 m exactly
]


@pytest.mark.parametrize(("unit", "sold_as", "price", "per", "expected"), UNIT_PRICES)
def test_published_unit_prices(
    unit: str, sold_as: str, price: str, per: str, expected: str
) -> None:
    shop = Shop(part("goods", unit))
    shop.sell("goods", sold_as, price)
    assert price_build(build(line("goods", per)), shop.view()).totals.share == D(expected)


def test_three_for_two_at_six_each_make_forty_a_litre() -> None:
    # common practice: three bottles of 100 ml for the price of two at 6.00 are 40.00 a litre
    shop = Shop(part("glue", "ml"))
    shop.sell("glue", "100 ml", "6.00", breaks=(brk(3, "12.00", "lot"),))
    cost = price_build(build(line("glue", "300 ml")), shop.view())
    assert cost.totals.share == D("12.00")


def test_every_computed_row_of_the_table_of_unit_prices() -> None:
    path = CHECKS / "02_unit_prices.csv"
    if not path.exists():
        pytest.skip("the table of published unit prices is not beside the repository")
    units = {
        "L": ("ml", 1000),
        "kg": ("g", 1000),
        "m": ("m", 1),
        "m2": ("m2", 1),
        "piece": ("piece", 1),
    }
    seen = 0
    for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
        if row["unit"] not in units:
            continue
        unit, factor = units[row["unit"]]
        shop = Shop(part("goods", unit))
        shop.sell("goods", f"{D(row['pack_quantity']) * factor:f} {unit}", row["pack_price"])
        cost = price_build(build(line("goods", f"{D(row['per']) * factor:f} {unit}")), shop.view())
        assert cost.totals.share == D(row["unit_price_2dp_half_up"]), row["id"]
        seen += 1
    assert seen >= 10


@pytest.mark.parametrize(
    ("text", "unit", "more", "expected"),
    [
        ("1,5 kg", "g", {}, F(1500)),
        ("200 ml", "g", {"density": D("1.1")}, F(220)),
        ("110 g", "ml", {"density": D("1.1")}, F(100)),
        # 1 m2 of 49 g/m2 cloth weighs 49 g
        ("1 m2", "g", {"areal_mass": D(49)}, F(49)),
        ("98 g", "m2", {"areal_mass": D(49)}, F(2)),
        ("3 pairs", "piece", {"pair_is": 4}, F(12)),
        ("1 m x 1.2 m", "m", {}, F(1)),  # a length of a width
        ("1/3 m", "m", {}, F(D(1) / D(3))),
    ],
)
def test_amount_in_the_parts_unit(
    text: str, unit: str, more: dict[str, object], expected: Fraction
) -> None:
    assert base_amount(amount(text), part("goods", unit, **more)) == expected


@pytest.mark.parametrize(
    ("text", "unit"),
    [("1 m2", "g"), ("1 kg", "m2"), ("1 l", "g"), ("2 pieces", "m"), ("1 m", "m2")],
)
def test_no_conversion_across_dimensions(text: str, unit: str) -> None:
    with pytest.raises(UnitError, match="density"):
        base_amount(amount(text), part("goods", unit))
    assert "density" in (check_line_fits(line("goods", text), None, part("goods", unit)) or "")


# birch plywood of 1220 x 2440 mm, thickness in mm and kg/m3, as the maker's table gives them
PLYWOOD = [(4, 660, "7.9"), (9, 710, "19.0"), (12, 695, "24.8"), (18, 685, "36.7")]


@pytest.mark.parametrize(("thick", "density", "kilos"), PLYWOOD)
def test_plywood_sheets_weigh_what_the_makers_table_says(
    thick: int, density: int, kilos: str
) -> None:
    ply = part("ply", "m2", areal_mass=D(thick * density))  # kg/m3 x mm = g/m2
    grams = mass_of(base_amount(amount("1220 x 2440 mm"), ply), ply)
    assert grams is not None
    assert abs(float(grams) / 1000 - float(kilos)) <= 0.06


# balsa 3 x 36 inch, thickness in 1/16 inch and lb/ft3, grams from a maker's table
BALSA = [(1, 8, 14), (1, 10, 18), (2, 8, 28), (4, 6, 43)]


@pytest.mark.parametrize(("sixteenths", "density", "grams"), BALSA)
def test_balsa_sheets_weigh_what_the_table_says(sixteenths: int, density: int, grams: int) -> None:
    areal = F(density) * F("453.59237") / (F("0.3048") ** 3) * sixteenths * F("0.0254") / 16
    balsa = part("balsa", "m2", areal_mass=to_decimal(areal))
    found = mass_of(base_amount(amount("3 x 36 in"), balsa), balsa)
    assert round(found or 0) == grams


def test_mass_of_a_part_is_of_one_unit() -> None:
    assert mass_of(F(3), part("rod", "m", mass=amount("12 g"))) == 36
    assert mass_of(F(4), part("hinge", "pair", mass=amount("3 g"))) == 6
    assert mass_of(F(500), part("resin", "ml", density=D("1.1"))) == 550
    assert mass_of(F(1), part("motor")) is None


@pytest.mark.parametrize(
    ("more", "sold_as", "fits"),
    [
        ({"cuts": (Cut(2, size=(D(400), D(200))),)}, "300 x 600 mm", True),
        ({"cuts": (Cut(2, size=(D(400), D(310))),)}, "300 x 600 mm", False),
        ({"cuts": (Cut(2, size=(D(200), D(400))),)}, "600 x 300 mm", True),  # turned
        ({"cuts": (Cut(2, size=(D(200), D(400))),), "grain": "along"}, "600 x 300 mm", False),
        ({"cuts": (Cut(2, size=(D(400), D(200))),)}, "0.18 m2", True),  # the page says no size
    ],
)
def test_every_rectangle_has_to_fit(more: dict[str, object], sold_as: str, *, fits: bool) -> None:
    shop = Shop(part("ply", "m2"))
    listing = shop.sell("ply", sold_as, "5.00")
    why = check_line_fits(line("ply", "0.16 m2", **more), listing, shop.parts["ply"])
    assert (why is None) is fits


# The arithmetic of buying: common practice
@pytest.mark.parametrize(
    ("units", "expected"),
    [(1, "10"), (2, "20"), (3, "27"), (4, "36"), (6, "50"), (7, "59"), (12, "100")],
)
def test_breaks_and_lots(units: int, expected: str) -> None:
    breaks = (brk(3, "9.00"), brk(6, "50.00", "lot"))
    assert cost_of(F(10), breaks, F(units)) == F(expected)


def test_many_lots_cost_as_many_times_one_lot() -> None:
    assert cost_of(F(10), (brk(7, "50.00", "lot"),), F(70_000)) == 500_000


def test_lots_against_brute_force() -> None:
    lots = (brk(2, "15", "lot"), brk(5, "31", "lot"))
    for units in range(1, 25):
        ways = [
            15 * a + 31 * b + 9 * (units - 2 * a - 5 * b)
            for a in range(units // 2 + 1)
            for b in range(units // 5 + 1)
            if 2 * a + 5 * b <= units
        ]
        assert cost_of(F(9), lots, F(units)) == min(ways)


# Regulation (EC) 1103/97 Art. 5: an exact half goes up (away from zero)
@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("0.125", "0.13"),
        ("0.135", "0.14"),
        ("2.675", "2.68"),
        ("1.005", "1.01"),
        ("-0.125", "-0.13"),
    ],
)
def test_half_up(value: str, shown: str) -> None:
    assert to_cents(F(value), "EUR") == D(shown)


def test_cross_rates_lose_nothing() -> None:
    # ECB reference rates of 2016-06-24: GBP 0.8075, PLN 4.4550; 100 GBP are 551.70 PLN
    found = exact_rate(rates(GBP="0.8075", PLN="4.455"), "GBP", "PLN")
    assert found is not None
    assert found[0] == F("4.455") / F("0.8075")
    assert to_cents(100 * found[0], "PLN") == D("551.70")
    assert exact_rate(rates(), "EUR", "EUR") == (F(1), None)
    assert exact_rate(rates(), "EUR", "PLN") is None


def test_text_of_numbers() -> None:
    assert [number_text(F(1, 3), 4), number_text(D("2E+2")), number_text(D("1.50"))] == [
        "0.3333",
        "200",
        "1.5",
    ]
