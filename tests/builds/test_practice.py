"""Companions, fit and cautions against trade practice and published facts."""

from decimal import Decimal
from fractions import Fraction

import pytest
from builds_kit import Shop, amount, build, line, part

from scrapers import Availability
from service.builds.cautions import cautions_for
from service.builds.companions import Used, builtin_rules, companions, read_rules
from service.builds.cost import price_build
from service.builds.fit import cells_of, fit, watt_hours
from service.builds.requirements import meets, parts_meeting, successors, value_meets
from service.errors import InputError
from service.model.builds import Alternative
from service.model.catalogue import Equivalent, Part, Supply

D = Decimal


def named(name: str, *classes: str, **spec: str) -> Part:
    return Part(name.lower().replace(" ", "-"), name, "piece", spec=spec, classes=classes)


def rules_for(*parts: Part) -> set[str]:
    return {row["rule"] for row in companions([Used(p) for p in parts])}


# (part, rule that asks, what answers it): common practice of planes, boats and cars
PRACTICE = [
    (named("9 g servo"), "servo-lead", named("Servo lead 300 mm")),
    (named("9 g servo"), "servo-mount", named("Servo mount pair")),
    (named("Digital servo", "servo"), "servo-linkage", named("M2 clevis")),
    (named("Folding propeller 11x6"), "folding-spinner", named("Spinner 38 mm")),
    (named("Folding propeller 11x6"), "folding-collet", named("Collet 4 mm")),
    (named("Brushless motor water cooled"), "water-hose", named("Silicone hose 4 mm")),
    (named("Brushless motor water cooled"), "water-outlet", named("Water outlet M5")),
    (named("Flex shaft 4.76 mm"), "flex-liner", named("Brass tube with liner")),
    (named("Flex shaft 4.76 mm"), "motor-coupling", named("Coupling 5 on 4.76 mm")),
    (named("Marine propeller 45 mm"), "drive-dog", named("Drive dog 4.76 mm")),
    (named("Rennreifen", "tyre"), "tyre-rims", named("Felge 26 mm", "wheel")),
    (named("Lexan body shell"), "body-clips", named("Body clips")),
    (named("LiPo 4S 3300", "lithium"), "battery-strap", named("Battery strap 200 mm")),
    (named("Laminating resin L"), "hardener", named("Hardener L")),
    (named("Laminating resin L"), "gloves", named("Nitrile gloves")),
    (named("Outrunner 3536 brushless"), "bullets", named("Bullet connector 4 mm")),
    (named("Bullet connector 4 mm"), "heat-shrink", named("Heat shrink tube 8 mm")),
    (named("Receiver 8 channel"), "receiver-voltage", named("ESC 40 A with BEC")),
    (named("Spur gear 48"), "pinion", named("Pinion 17")),
]


@pytest.mark.parametrize(("asks", "rule", "answer"), PRACTICE)
def test_a_part_asks_for_its_companion_until_it_is_there(
    asks: Part, rule: str, answer: Part
) -> None:
    assert rule in rules_for(asks)
    assert rule not in rules_for(asks, answer)
    assert rule not in rules_for(answer)


def test_a_plug_is_missed_only_where_both_are_known_and_differ() -> None:
    battery = named("LiPo 4S 3300", "lithium", plug="XT60")
    for other, missed in (("XT90", True), ("xt60", False), (None, False)):
        esc = named("ESC 60 A", **({"plug": other} if other else {}))
        assert ("battery-plug" in rules_for(battery, esc)) is missed


def test_what_is_in_the_box_or_dismissed_is_not_missed() -> None:
    shop = Shop(named("9 g servo"), named("Servo lead 300 mm"))
    boxed = (Supply("servo-lead-300-mm", amount("1 piece")),)
    shop.sell("9-g-servo", "1 piece", "12.00", includes=boxed)
    view = shop.view(dismissed=frozenset({"curlew/servo-mount", "other/servo-linkage"}))
    cost = price_build(build(line("9-g-servo", "1 piece")), view)
    assert [row["rule"] for row in cost.companions] == ["servo-linkage"]


def test_own_rules_replace_and_switch_off() -> None:
    own = """
    [[rule]]
    id = "servo-lead"
    off = true
    [[rule]]
    id = "pilot"
    when = { words = ["canopy"] }
    wants = { words = ["pilot*"] }
    lacks = "a pilot"
    why = "an open cockpit looks empty"
    """
    rules = read_rules(own, builtin_rules())
    used = [Used(named("9 g servo")), Used(named("Canopy clear"))]
    found = {row["rule"] for row in companions(used, rules=rules)}
    assert "pilot" in found
    assert "servo-lead" not in found
    with pytest.raises(InputError, match="pilot"):
        read_rules('[[rule]]\nid = "pilot"')


@pytest.mark.parametrize(("resin", "asked"), [(40, True), (49, False), (120, False)])
def test_cloth_asks_for_its_own_mass_of_resin(resin: int, *, asked: bool) -> None:
    # hand lay-up about 50 % by mass: 1 m2 of 49 g/m2 takes 49 g (common practice)
    cloth, epoxy = named("Glass cloth 49 g", "cloth"), named("Laminating resin", "resin")
    used = [Used(cloth, Fraction(49)), Used(epoxy, Fraction(resin))]
    found = [row for row in companions(used) if row["rule"] == "cloth-resin"]
    assert bool(found) is asked
    if found:
        assert "49 g of cloth" in found[0]["lacks"]
        assert "98 to 147 g on bare wood" in found[0]["lacks"]


def battery(cells: int, capacity: int, **more: str) -> Part:
    return Part(
        f"{cells}s",
        f"{cells}S",
        "piece",
        {"cells": str(cells), "capacity_mAh": str(capacity)} | more,
    )


# LiPo 3.7 V nominal and 4.2 V full a cell; LiHV 3.8 and 4.35 (published by several makers)
@pytest.mark.parametrize(
    ("cells", "nominal", "full"),
    [
        (1, "3.7", "4.2"),
        (2, "7.4", "8.4"),
        (3, "11.1", "12.6"),
        (4, "14.8", "16.8"),
        (6, "22.2", "25.2"),
    ],
)
def test_volts_of_a_battery(cells: int, nominal: str, full: str) -> None:
    found = cells_of(battery(cells, 1000))
    assert found is not None
    assert (found.nominal, found.full) == (D(nominal), D(full))
    high = cells_of(battery(cells, 1000, chemistry="LiHV"))
    assert high is not None
    assert high.full == cells * D("4.35")


# Wh = cells x 3.7 x Ah; 100 Wh is the line of the passenger rules (IATA)
@pytest.mark.parametrize(
    ("cells", "capacity", "energy"),
    [(3, 5000, "55.5"), (4, 5000, "74"), (6, 4500, "99.9"), (6, 5000, "111"), (3, 9000, "99.9")],
)
def test_energy_and_the_line_of_100_watt_hours(cells: int, capacity: int, energy: str) -> None:
    part = battery(cells, capacity)
    assert watt_hours(part) == D(energy)
    found = {c.id: c.text for c in cautions_for([part])}
    assert "lithium" in found
    assert ("lithium-transport" in found) is (D(energy) > 100)
    if D(energy) > 100:
        assert f"({energy} Wh)" in found["lithium-transport"]


def hint(rule: str, *parts: Part, believed: str = "1") -> dict[str, str] | None:
    found = [h for h in fit(parts, believed=D(believed)) if h["rule"] == rule]
    return found[0] if found else None


def test_speed_unloaded() -> (
    None
):  # published examples: 1100 kV on 3S 12210 rpm; 2000 kV on full 4S
    found = hint("speed", battery(3, 2200), named("Motor", kv="1100"))
    assert found is not None
    assert "= 12210 rpm" in found["sum"]
    found = hint("speed", battery(4, 2200), named("Motor", kv="2000", max_rpm="30000"))
    assert found is not None
    assert "= 33600 rpm" in found["sum"]
    assert found["level"] == "check"


# 25C x 5 Ah = 125 A and 50C x 4 Ah = 200 A (published examples)
@pytest.mark.parametrize(
    ("capacity", "c_rate", "amps", "short"),
    [(5000, "25", "125", False), (5000, "25", "126", True), (4000, "50", "200", False)],
)
def test_current(capacity: int, c_rate: str, amps: str, *, short: bool) -> None:
    esc = named("ESC", "esc", amps=amps)
    assert (hint("current", battery(4, capacity, c_rate=c_rate), esc) is not None) is short
    half = hint("current", battery(4, capacity, c_rate=c_rate), esc, believed="0.5")
    assert half is not None
    assert "claim" in half["text"]


def test_volts_cells_and_pairs_are_checked_where_both_sides_are_known() -> None:
    four = battery(4, 3000, plug="XT60")
    assert hint("volts", four, named("ESC", "esc", max_volts="12.6")) is not None
    assert hint("volts", four, named("ESC", "esc", max_volts="16.8")) is None
    assert hint("cells", four, named("ESC", "esc", cells="2-3S")) is not None
    assert hint("cells", four, named("ESC", "esc", cells="2..4")) is None
    assert hint("plug", four, named("ESC", "esc", plug="XT90")) is not None
    assert hint("plug", four, named("ESC", "esc")) is None
    assert (
        hint("shaft_mm", named("Motor", shaft_mm="5"), named("Coupling", bore_mm="4")) is not None
    )
    # 1/8 inch is 3.175 mm exactly
    assert (
        hint("shaft_mm", named("Motor", shaft_mm="3.175"), named("Collet", bore_mm="3.175")) is None
    )
    bec = named("ESC", "esc", bec_amps="3")
    assert hint("bec", bec, *[named("Servo", "servo", stall_amps="1.5")] * 3) is not None
    assert hint("bec", bec, *[named("Servo", "servo", stall_amps="1.5")] * 2) is None
    assert (
        hint("amps", named("ESC", "esc", amps="40"), named("Motor", kv="900", max_amps="45"))
        is not None
    )


def test_cautions_stand_where_they_belong() -> None:
    def ids(*parts: Part) -> set[str]:
        return {c.id for c in cautions_for(parts)}

    assert ids(named("Laminating resin")) == {"resin"}
    assert ids(named("CA glue thin")) == {"ca-glue"}
    assert "dust" in ids(named("Carbon cloth", "cloth"))
    assert "fast-model" in ids(named("Propeller 10x5"))
    assert "radio" in ids(named("Receiver 8 channel"))
    assert ids(named("M3 screw")) == set()
    assert {c.id for c in cautions_for([], imported=True)} == {"import"}


@pytest.mark.parametrize(
    ("have", "want", "ok"),
    [
        ("3300", "3000..3600", True),
        ("3700", "3000..3600", False),
        ("3700", "3000..", True),
        ("2900", "..3000", True),
        ("4", "4", True),
        ("4.0", "4", True),
        ("XT60", "xt60", True),
        ("XT60", "XT90 | XT60", True),
        ("XT60", "XT90", False),
        ("11.1 V", "11.1", True),
        ("5 mm", "5 in", False),
        ("unknown", "3..4", False),
    ],
)
def test_what_a_value_answers(have: str, want: str, *, ok: bool) -> None:
    assert value_meets(have, want) is ok


def test_a_requirement_takes_the_cheapest_part_that_meets_it() -> None:
    def lipo(key: str, capacity: str) -> Part:
        return Part(key, key, "piece", {"cells": "4", "capacity_mAh": capacity})

    shop = Shop(lipo("a", "3000"), lipo("b", "3600"), lipo("c", "5000"))
    for key, price in (("a", "40.00"), ("b", "36.00"), ("c", "20.00")):
        shop.sell(key, "1 piece", price)
    need = {"cells": "4", "capacity_mAh": "3000..3600"}
    cost = price_build(build(line(None, "1 piece", need=need)), shop.view())
    assert (cost.lines[0].part, cost.totals.share) == ("b", D("36.00"))
    none = price_build(build(line(None, "1 piece", need={"cells": "6"})), shop.view())
    assert none.missing == ("a part with cells 6",)
    assert not none.totals.complete
    assert not parts_meeting(shop.parts.values(), {})
    assert meets(Part("x", "x", "piece", classes=("lithium",)), {"class": "lithium"})


def test_alternatives_have_their_own_amounts() -> None:  # one 6S or two 3S
    shop = Shop(part("6s"), part("3s"))
    shop.sell("6s", "1 piece", "90.00")
    shop.sell("3s", "1 piece", "40.00")
    ways = (Alternative("6s", amount("1 piece")), Alternative("3s", amount("2 pieces")))
    cost = price_build(build(line(None, "1 piece", choose=ways)), shop.view())
    assert (cost.lines[0].part, cost.lines[0].amount.value, cost.totals.share) == ("3s", 2, 80)


def test_a_discontinued_part_names_what_still_serves_and_never_swaps() -> None:
    old = Part("old", "old", "piece", equivalents=(Equivalent("new", "two grams heavier"),))
    shop = Shop(old, part("new"))
    shop.sell("old", "1 piece", "10.00", availability=Availability.DISCONTINUED)
    shop.sell("new", "1 piece", "12.00")
    cost = price_build(build(line("old", "1 piece")), shop.view())
    assert (cost.lines[0].part, cost.lines[0].status) == ("old", "out_of_stock")
    assert "still meets it: new" in cost.lines[0].hint


def test_equivalents_count_from_both_sides_unless_one_way() -> None:
    a = Part("a", "a", "piece", equivalents=(Equivalent("b", "longer"), Equivalent("c", "", True)))
    b, c = part("b"), part("c")
    parts = {"a": a, "b": b, "c": c}
    assert [(p.key, note) for p, note in successors(b, parts)] == [("a", "longer")]
    assert successors(c, parts) == []
    assert [p.key for p, _ in successors(a, parts)] == ["b", "c"]
