"""Versions side by side and proposals: differences are the differences of the totals."""

from decimal import Decimal

import pytest
from builds_kit import Shop, amount, build, line, part
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds.compare import compare, comparison_to_json, proposals
from service.builds.cost import price_build
from service.errors import InputError
from service.model.builds import Alternative, Replacement
from service.model.catalogue import Equivalent, Part

D = Decimal


def shop() -> Shop:
    found = Shop(
        part("ply", "m2", areal_mass=D(2640)),
        part("balsa", "m2", areal_mass=D(600)),
        part("motor", mass=amount("180 g"), equivalents=(Equivalent("motor-b", "20 g heavier"),)),
        part("motor-b", mass=amount("200 g")),
    )
    for key, sold_as, price in (
        ("ply", "1 m2", "20.00"),
        ("balsa", "1 m2", "30.00"),
        ("motor", "1 piece", "80.00"),
        ("motor-b", "1 piece", "64.00"),
    ):
        found.sell(key, sold_as, price)
    return found


BASE = build(line("ply", "0.5 m2", group="structure"), line("motor", "1 piece", group="drive"))


def test_a_version_stands_beside_its_base() -> None:
    version = build(
        key="light",
        base="curlew",
        replace=(Replacement("ply", "balsa"), Replacement("motor", None, amount("2 pieces"))),
    )
    view = shop().view(builds={"curlew": BASE})
    found = compare(price_build(BASE, view), price_build(version, view))
    shown = comparison_to_json(found)
    assert (shown["share"], shown["to_spend"], shown["mass"]) == ("85.00", "90.00", "-840")
    assert [c.part for c in found.changes] == ["ply", "motor", "balsa"]
    assert sum(c.share for c in found.changes) == found.share
    assert shown["groups"][0]["after"]["share"] == "15.00"


def test_a_line_can_fall_away() -> None:
    version = build(key="glider", base="curlew", replace=(Replacement("motor", None),))
    view = shop().view(builds={"curlew": BASE})
    assert price_build(version, view).totals.share == D("10.00")


def test_alternatives_are_replaced_too() -> None:
    ways = (Alternative("motor", amount("1 piece")), Alternative("ply", amount("9 m2")))
    base = build(line(None, "1 piece", choose=ways))
    version = build(key="v", base="curlew", replace=(Replacement("motor", "motor-b"),))
    view = shop().view(builds={"curlew": base})
    assert price_build(version, view).totals.share == D("64.00")


def test_wrong_versions_say_what_is_wrong() -> None:
    view = shop().view(builds={"curlew": BASE})
    with pytest.raises(InputError, match="does not use"):
        price_build(build(key="v", base="curlew", replace=(Replacement("wing", "x"),)), view)
    circle = {"a": build(key="a", base="b"), "b": build(key="b", base="a")}
    with pytest.raises(InputError, match="circle"):
        price_build(circle["a"], shop().view(builds=circle))


def test_currencies_do_not_mix() -> None:
    view = shop().view()
    with pytest.raises(ValueError, match="one currency"):
        compare(price_build(BASE, view), price_build(build(currency="USD"), view))


def test_cheaper_equivalents_are_proposed_with_what_they_save() -> None:
    found = proposals(BASE, shop().view())
    assert [(p.line, p.part, p.instead_of, p.share) for p in found] == [
        (1, "motor-b", "motor", D("16.00"))
    ]
    assert found[0].note == "20 g heavier"


def test_parts_that_meet_the_need_are_taken_already() -> None:
    made = Shop(*(Part(k, k, "piece", {"cells": "4"}) for k in ("a", "b")))
    made.sell("a", "1 piece", "40.00")
    made.sell("b", "1 piece", "30.00")
    wanted = build(line(None, "1 piece", need={"cells": "4"}))
    assert proposals(wanted, made.view()) == []


@given(
    st.lists(st.tuples(st.sampled_from(["ply", "balsa", "motor"]), st.integers(1, 5)), max_size=6)
)
@settings(max_examples=40, deadline=None)
def test_changes_explain_the_whole_difference(rows: list[tuple[str, int]]) -> None:
    view = shop().view()
    units = {"ply": "m2", "balsa": "m2", "motor": "pieces"}
    other = build(*(line(key, f"{n} {units[key]}") for key, n in rows))
    found = compare(price_build(BASE, view), price_build(other, view))
    assert sum(change.share for change in found.changes) == found.share
