"""States of an order's line, and what of leftover bodies a line can use."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from builds_kit import line
from hypothesis import given
from hypothesis import strategies as st

from service.builds.offcuts import usable
from service.builds.portions import portions
from service.builds.view import Stock
from service.model.builds import Cut
from service.model.money import Money
from service.model.orders import OrderLine, Step

D = Decimal
DAY = date(2026, 3, 1)


def told(*steps: tuple[str, int]) -> OrderLine:
    money = Money(D(5), "EUR")
    return OrderLine(
        1, tuple(Step(kind, DAY, D(n), money if kind == "refunded" else None) for kind, n in steps)
    )


@pytest.mark.parametrize(
    ("steps", "state"),
    [  # common practice of order keeping; four units ordered
        ([], "ordered"),
        ([("arrived", 1)], "part arrived"),
        ([("arrived", 4)], "arrived"),
        ([("arrived", 3), ("cancelled", 1)], "arrived"),
        ([("cancelled", 4)], "cancelled"),
        ([("cancelled", 1)], "ordered"),
        ([("arrived", 3), ("wrong", 1)], "wrong"),
        ([("arrived", 3), ("wrong", 1), ("returned", 1)], "arrived"),
        ([("arrived", 3), ("wrong", 1), ("arrived", 1)], "arrived"),  # replaced
        ([("arrived", 4), ("arrived", -1), ("wrong", 1)], "wrong"),
        ([("arrived", 4), ("returned", 4)], "returned"),
        ([("arrived", 4), ("returned", 4), ("refunded", 0)], "refunded"),
        ([("wrong", 4), ("returned", 4), ("arrived", 4)], "arrived"),
    ],
)
def test_one_word_for_a_line(steps, state):
    assert portions(told(*steps), D(4)).state == state


kinds = st.sampled_from(["arrived", "wrong", "cancelled", "returned"])


@given(st.lists(st.tuples(kinds, st.integers(1, 4)), max_size=8))
def test_every_unit_is_in_one_place(steps):
    """Steps that the flows would let through: never more than there is to do it with."""
    kept: list[tuple[str, int]] = []
    for kind, wish in steps:
        now = portions(told(*kept), D(4))
        most = {
            "arrived": now.coming + now.wrong + now.returned,
            "wrong": now.coming,
            "cancelled": now.coming,
            "returned": now.here + now.wrong,
        }[kind]
        if count := min(wish, int(most)):
            kept.append((kind, count))
    found = portions(told(*kept), D(4))
    places = (found.here, found.coming, found.wrong, found.returned, found.cancelled)
    assert sum(places) == 4
    assert all(place >= 0 for place in places)


def test_what_a_later_day_brought_is_not_known_before():
    late = OrderLine(1, (Step("arrived", date(2026, 3, 9), D(4)),))
    assert portions(late, D(4), date(2026, 3, 8)).state == "ordered"
    assert portions(late, D(4), date(2026, 3, 9)).state == "arrived"


def test_offcuts_that_no_piece_fits_in_are_not_usable():
    # by hand: bars of 450 mm give one piece of 400 mm each, a bar of 300 mm none
    spars = line("spar", "1.2 m", cuts=(Cut(3, length=D(400)),))
    bars = Stock(D("1.2"), offcuts=(Cut(2, length=D(450)), Cut(1, length=D(300))))
    assert usable(bars, spars) == Fraction(8, 10)
    ribs = line("ply", "0.05 m2", cuts=(Cut(1, size=(D(500), D(100))),))
    sheets = Stock(
        D("0.39"), offcuts=(Cut(1, size=(D(300), D(300))), Cut(1, size=(D(600), D(200))))
    )
    # 0.39 m2: one whole sheet of 0.18, the fitting offcut of 0.12; that of 0.09 is too short
    assert usable(sheets, ribs) == Fraction(30, 100)
    assert usable(sheets, line("ply", "0.05 m2")) == Fraction(39, 100)
