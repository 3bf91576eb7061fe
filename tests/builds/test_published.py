"""Tables of published figures beside the repository, row by row; skipped where they are not."""

import csv
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from builds_kit import Shop, amount, build, line, part, rates

from service.builds.amounts import base_amount, mass_of
from service.builds.cents import exact_rate, to_cents
from service.builds.cost import price_build
from service.builds.fit import cells_of, watt_hours
from service.model.catalogue import Part

D, F = Decimal, Fraction
CHECKS = Path(__file__).parents[2].parent / "shared" / "checks"


def rows(name: str) -> list[dict[str, str]]:
    path = CHECKS / name
    if not path.exists():
        pytest.skip(f"the table {name} is not beside the repository")
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_rounding_is_half_up() -> None:  # Regulation (EC) 1103/97 Art. 5
    found = [row for row in rows("08_money.csv") if row["kind"] == "rounding_2dp"]
    assert len(found) >= 6
    for row in found:
        up = re.search(r"half_up (-?[\d.]+)", row["expected"])
        assert up is not None
        assert to_cents(F(row["key"]), "EUR") == D(up[1])


def test_minor_units() -> None:  # ISO 4217
    for row in rows("08_money.csv"):
        if row["kind"] == "minor_unit":
            shown = to_cents(F("1234.56785"), row["key"])
            assert -int(shown.as_tuple().exponent) == int(row["expected_iso4217"]), row["key"]


def test_cross_rates_and_fixed_rates() -> (
    None
):  # ECB reference rates; Regulation (EC) 1103/97 Art. 4
    ecb = {
        (row["key"][4:], row["input"]): row["expected"]
        for row in rows("08_money.csv")
        if row["kind"] == "ecb_rate"
    }
    day = {code: ecb[code, "2016-06-24"] for code in ("GBP", "USD", "PLN")}
    cross = exact_rate(rates(**day), "GBP", "USD")
    assert cross is not None
    assert round(float(cross[0]), 6) == 1.370402
    pln = exact_rate(rates(**day), "GBP", "PLN")
    assert pln is not None
    assert to_cents(100 * pln[0], "PLN") == D("551.70")
    lev = exact_rate(rates(BGN="1.95583"), "BGN", "EUR")
    assert lev is not None
    assert to_cents(100 * lev[0], "EUR") == D("51.13")


def test_batteries() -> None:
    for row in rows("10_model_facts.csv"):
        if row["id"].startswith("WH"):
            count, capacity = re.findall(r"\d+", row["input"])
            spec = {"cells": count, "capacity_mAh": capacity}
            energy = watt_hours(Part("b", "b", "piece", spec))
            assert energy == D(row["expected"].split()[0]), row["id"]
        if row["id"].startswith("LV"):
            cells = cells_of(Part("b", "b", "piece", {"cells": row["input"].rstrip("S")}))
            volts = [D(x) for x in re.findall(r"[\d.]+(?= V)", row["expected"])]
            assert cells is not None
            assert [cells.nominal, cells.full] == volts, row["id"]


def test_plywood_masses_and_inch_sizes() -> None:
    for row in rows("10_model_facts.csv"):
        if row["topic"] == "birch plywood sheet":
            thick, density = re.findall(r"[\d.]+(?= (?:mm|kg))", row["input"])
            ply = part("ply", "m2", areal_mass=D(thick) * D(density))
            for size, kilos in re.findall(r"(\d+x\d+): ([\d.]+) kg", row["expected"]):
                sheet = amount(size.replace("x", " x ") + " mm")
                mass = mass_of(base_amount(sheet, ply), ply)
                assert mass is not None
                assert abs(mass / 1000 - F(kilos)) <= F(6, 100), row["id"]
        if row["topic"] == "shaft":
            inches = row["input"].removesuffix(" in")
            found = base_amount(amount(f"{inches} in"), part("rod", "m")) * 1000
            assert found == F(row["expected"].removesuffix(" mm")), row["id"]


def test_carriage_by_air_is_cautioned_above_a_hundred_watt_hours() -> None:
    limits = [row["input"] for row in rows("10_model_facts.csv") if row["id"].startswith("AIR")]
    assert "<= 100 Wh" in limits
    shop = Shop(Part("big", "big", "piece", {"cells": "6", "capacity_mAh": "5000"}))
    shop.sell("big", "1 piece", "90.00")
    cost = price_build(build(line("big", "1 piece")), shop.view())
    assert any("Over 100 Wh (111 Wh)" in text for text in cost.cautions)
