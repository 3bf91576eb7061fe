"""Specification keys as people, pages and the example catalogue write them; what fit reads."""

import tomllib
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from builds_kit import Shop, amount, build, line

from scrapers.texts import read_spec
from service.builds.companions import Used, companions
from service.builds.cost import price_build
from service.builds.fit import cells_of, fit, wired
from service.builds.requirements import meets
from service.builds.specs import canonical, spec_value
from service.model.builds import Alternative
from service.model.catalogue import Part

D = Decimal
ROOT = Path(__file__).parents[2]


def part(key: str, name: str, *classes: str, **spec: str) -> Part:
    return Part(key, name, "piece", spec=spec, classes=classes)


def hints(*parts: Part, believed: str = "1") -> set[str]:
    return {row["rule"] for row in fit(parts, believed=D(believed)) if row["level"] == "check"}


SPELLINGS = [  # the same drive, as three people would note it down
    {"kv": "kv", "limit": "max_amps", "esc": "amps", "c": "c_rate", "charge": "capacity_mAh"},
    {"kv": "KV", "limit": "max_A", "esc": "max_A", "c": "C", "charge": "capacity_mAh"},
    {"kv": "Kv", "limit": "max_a", "esc": "A", "c": "c_rating", "charge": "mAh"},
]


@pytest.mark.parametrize("say", SPELLINGS)
def test_every_spelling_of_a_drive_is_understood(say: dict[str, str]) -> None:
    # by hand: 4 cells > 3; 45 A > 40 A; 20 C x 2.2 Ah = 44 A, half of it believed: 22 A < 40 A
    battery = part("b", "LiPo", "lithium", **{"cells": "4", say["charge"]: "2200", say["c"]: "20"})
    motor = part("m", "Outrunner", **{say["kv"]: "1000", say["limit"]: "45"})
    esc = part("e", "ESC", "esc", **{say["esc"]: "40", "cells": "2..3"})
    assert hints(battery, motor, esc, believed="0.5") == {"cells", "amps", "current"}
    speed = next(h for h in fit([battery, motor]) if h["rule"] == "speed")
    # 1000 x 4 x 3.7 and 1000 x 4 x 4.2
    assert speed["sum"] == "1000 x 14.8 V = 14800 rpm, full 1000 x 16.8 V = 16800 rpm"


def test_the_example_catalogue_speaks_the_language_of_fit() -> None:
    text = (ROOT / "config" / "example.toml").read_text(encoding="utf-8")
    parts = tomllib.loads(text)["part"]
    motor, esc = parts["motor-3542"]["spec"], parts["controller-60"]["spec"]
    made = part("m", "Outrunner 3542", **{k: str(v) for k, v in motor.items()})
    other = part("e", "Controller", **{k: str(v) for k, v in esc.items()})
    assert spec_value(made, "kv") == "1000"
    assert spec_value(made, "max_amps") == "45"
    assert spec_value(other, "max_amps") == "60"
    assert hints(made, part("c", "Coupling", bore="4")) == {"shaft_mm"}


def test_what_a_page_says_answers_a_requirement() -> None:
    found = read_spec("LiPo 4S 3300mAh 45C XT60").values
    battery = part("b", "LiPo", **found)
    assert meets(battery, {"cells": "4", "C": "40..", "capacity_mAh": "3000..3600"})
    assert not meets(battery, {"c_rate": "50.."})
    assert canonical("Max-A") == canonical("max_amps")


def test_a_requirement_may_ask_for_the_mass() -> None:  # 1 oz is 28.349523125 g exactly
    light = Part("l", "Servo", "piece", mass=amount("1 oz"))
    assert meets(light, {"mass": "..28.35 g"})
    assert not meets(light, {"mass_g": "..28.34"})
    assert meets(
        Part("s", "Servo", "piece", spec={"mass_g": "9"}, mass=amount("12 g")), {"mass": "9"}
    )
    assert not meets(Part("n", "Servo", "piece"), {"mass": "..100"})


def test_cells_of_other_chemistries() -> None:
    # six NiMH cells are the 7.2 V pack of cars; LiFe 2S is 6.6 V (common practice)
    nimh, life = part("n", "NiMH 3000", cells="6"), part("l", "LiFe 2S", cells="2")
    assert (cells_of(nimh).nominal, cells_of(life).nominal) == (D("7.2"), D("6.6"))  # type: ignore[union-attr]  # None fails
    assert cells_of(part("x", "Lifetime pack", cells="1")).full == D("4.2")  # type: ignore[union-attr]  # None fails


def test_two_batteries_in_the_place_of_one_are_one() -> None:
    three = part("3s", "3S", cells="3", capacity_mAh="5000")
    six = part("6s", "6S", cells="6", capacity_mAh="5000")
    big = part("big", "3S", cells="3", capacity_mAh="10000")
    series = wired(three, Fraction(2), [(six, Fraction(1))])
    assert (spec_value(series, "cells"), spec_value(series, "capacity_mAh")) == ("6", "5000")
    parallel = wired(three, Fraction(2), [(big, Fraction(1))])
    assert (spec_value(parallel, "cells"), spec_value(parallel, "capacity_mAh")) == ("3", "10000")
    assert wired(three, Fraction(2), [(three, Fraction(2))]) is three  # nothing is known
    assert wired(three, Fraction(1), [(six, Fraction(1))]) is three


def test_two_3s_chosen_for_one_6s_are_checked_as_six_cells() -> None:
    parts = (
        part("3s", "3S", "lithium", cells="3", capacity_mAh="5000"),
        part("6s", "6S", "lithium", cells="6", capacity_mAh="5000"),
        part("esc", "ESC", "esc", cells="2..4"),
    )
    shop = Shop(*parts)
    shop.sell("3s", "1 piece", "30.00")
    shop.sell("6s", "1 piece", "80.00")
    shop.sell("esc", "1 piece", "50.00")
    ways = (Alternative("6s", amount("1 piece")), Alternative("3s", amount("2 piece")))
    drive = line(None, "1 piece", choose=ways)
    cost = price_build(build(drive, line("esc", "1 piece")), shop.view())
    assert cost.lines[0].part == "3s"
    found = {row["rule"]: row["sum"] for row in cost.fit}
    assert found["cells"] == "6 cells > 4"


def test_a_hardener_of_the_resins_class_answers_for_it() -> None:
    resin = Used(part("r", "Casting resin A", "resin"))
    hardener = Used(part("h", "Casting hardener B", "resin"))
    assert "hardener" in {row["rule"] for row in companions([resin])}
    assert "hardener" not in {row["rule"] for row in companions([resin, hardener])}


def test_a_bore_needs_one_shaft_that_fits_it() -> None:
    # a boat: motor of 5 mm, flexible shaft of 4.76 mm (3/16 in), propeller on the latter
    motor, flex = part("m", "Motor", shaft_mm="5"), part("f", "Flex", shaft_mm="4.76")
    assert hints(motor, flex, part("p", "Propeller", bore_mm="4.76")) == set()
    assert hints(motor, flex, part("p", "Propeller", bore_mm="4")) == {"shaft_mm"}
    assert hints(motor, part("c", "Coupling", bore_mm="5 | 4.76"), flex) == set()


def test_a_motors_bullets_are_no_battery_plug() -> None:
    battery = part("b", "LiPo", "lithium", capacity_mAh="5000", cells="4", plug="XT90")
    motor = part("m", "Outrunner", kv="900", plug="bullet 4 mm")
    esc = part("e", "ESC", "esc", plug="XT90")
    assert hints(battery, motor, esc) == set()
    assert hints(battery, motor, part("e", "ESC", "esc", plug="XT60")) == {"plug"}
    wanted = {row["rule"] for row in companions([Used(battery), Used(motor), Used(esc)])}
    assert "battery-plug" not in wanted
