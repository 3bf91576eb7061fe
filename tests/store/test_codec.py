from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from store_books import NOON, full_book

from scrapers import Amount, RobotsCopy
from service.errors import StoreError
from service.model.builds import Build, Counts, Cut, Line
from service.model.catalogue import Listing, Part, Supplier, Supply
from service.model.deals import Deal, DealState, Notice, Target
from service.model.money import Money
from service.store.codec import dumps, loads

THINGS = [
    *full_book().suppliers,
    *full_book().parts,
    *full_book().listings,
    *full_book().builds,
    *full_book().purchases,
    *full_book().targets,
    Deal(
        "d",
        "t",
        "part",
        "battery",
        DealState.OPEN,
        NOON,
        Money(Decimal("1.50"), "EUR"),
        evidence=({"a": [1, None]},),
    ),
    Notice("n", "log", "s", "t", {"x": {"y": "z"}}, NOON),
    RobotsCopy("rules", "User-agent: *\nDisallow:", NOON),
]


@pytest.mark.parametrize("thing", THINGS, ids=lambda thing: type(thing).__name__)
def test_every_thing_of_the_book_comes_back_equal(thing: Any) -> None:
    assert loads(type(thing), dumps(thing)) == thing


def test_the_text_is_the_same_for_equal_values() -> None:
    one = Part("p", "P", "piece", spec={"a": "1", "b": "2"})
    other = Part("p", "P", "piece", spec={"b": "2", "a": "1"})
    assert one == other
    assert dumps(one) == dumps(other)


def test_equal_decimals_are_one_text() -> None:
    """Else a book that is written and loaded again would seem to have changed."""
    long = Line(Amount(Decimal("0.10"), "m2", size=(Decimal("100.0"), Decimal(1000)), pieces=3))
    short = Line(Amount(Decimal("0.1"), "m2", size=(Decimal(100), Decimal("1000.00")), pieces=3))
    assert dumps(long) == dumps(short)
    assert json.loads(dumps(long))["amount"]["size"] == ["100", "1000"]
    assert loads(Line, dumps(long)) == long


decimals = st.decimals(allow_nan=False, allow_infinity=False)
words = st.text(max_size=20)
amounts = st.builds(
    Amount, decimals, words, st.none() | st.tuples(decimals, decimals), st.integers(1, 9)
)
lines = st.builds(
    Line,
    amounts,
    words,
    st.none() | words,
    st.dictionaries(words, words, max_size=3),
    waste=decimals,
    cuts=st.lists(st.builds(Cut, st.integers(1, 9), st.none() | decimals), max_size=3).map(tuple),
    counts=st.builds(Counts, st.sampled_from(["share", "whole", "stock"]), st.integers(1, 9)),
)
listings = st.builds(
    Listing,
    words,
    words,
    st.lists(st.builds(Supply, words, amounts, st.none() | decimals), max_size=3).map(tuple),
    every=st.timedeltas(timedelta(0), timedelta(days=3650)),
)


@given(st.builds(Build, words, words, words, st.lists(lines, max_size=3).map(tuple)) | listings)
def test_any_build_or_listing_comes_back_equal(thing: Any) -> None:
    assert loads(type(thing), dumps(thing)) == thing


def test_a_field_of_a_newer_program_is_not_dropped_in_silence() -> None:
    held = json.loads(dumps(Supplier("s", "S"))) | {"loyalty": "gold"}
    with pytest.raises(StoreError, match=r"loyalty.*newer version"):
        loads(Supplier, json.dumps(held))


def test_a_type_that_it_cannot_keep_is_refused_at_once() -> None:
    @dataclass(frozen=True)
    class Odd:
        value: complex

    with pytest.raises(TypeError, match="complex"):
        dumps(Odd(1j))


def test_empty_fields_are_left_out_but_not_the_others() -> None:
    target = Target("k", "part", "p", back_in_stock=True)
    assert json.loads(dumps(target)) == {
        "key": "k",
        "kind": "part",
        "subject": "p",
        "back_in_stock": True,
    }
    plain = {"key": "k", "kind": "part", "subject": "p", "back_in_stock": False}
    assert json.loads(dumps(replace(target, back_in_stock=False))) == plain
