"""What a purchase holds, what really was paid for it, and how a bundle is shared out."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from web_kit import NOW, desk

from service.errors import InputError, NotFoundError
from service.exchange.catalogue import book_from_document, parse_toml
from service.flows.add import likeness
from service.flows.buying import Bought, buy
from service.flows.ordering import Terms, place, read_wanted
from service.flows.stock import stock
from service.model.catalogue import Part
from service.model.money import parse_money

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from service.flows.ports import Deps

D = Decimal
BOOK = """
[supplier.skua]
name = "Skua"
currency = "EUR"
[supplier.tern]
name = "Tern"
currency = "EUR"
[part.resin]
name = "Resin"
unit = "g"
density = "1.13"
[[part.resin.listing]]
supplier = "skua"
url = "https://skua.example/resin"
sold_as = "500 ml"
[[part.resin.listing]]
supplier = "tern"
url = "https://tern.example/tub"
sold_as = "1 kg"
[[part.resin.listing]]
supplier = "tern"
url = "https://tern.example/bottle"
sold_as = "300 g"
[part.hose]
name = "Hose"
unit = "m"
[[part.hose.listing]]
supplier = "skua"
url = "https://skua.example/hose"
sold_as = "1 m x 1.2 m"
[part.motor]
name = "Motor"
[part.esc]
name = "Controller"
[[set]]
supplier = "skua"
url = "https://skua.example/combo"
supplies = [
  { part = "motor", amount = "1 piece", split = "60 %" },
  { part = "esc", amount = "1 piece", split = "40 %" },
]
"""


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path, filled=False) as found:
        with found.store.write() as unit:
            unit.catalogue.save(book_from_document(parse_toml(BOOK, "x.toml")), now=NOW)
        yield found


def hand(deps: Deps) -> dict[str, tuple[str, str]]:
    return {row["part"]: (row["amount"], row["cost"]) for row in stock(deps)["on_hand"]}


def test_goods_bought_by_volume_are_on_hand_by_mass(deps: Deps) -> None:
    buy(deps, "resin", D(2), parse_money("33.00 EUR"), Bought("skua"))
    assert hand(deps)["resin"] == ("1130", "33.00")  # 2 x 500 ml x 1.13 g/ml


def test_goods_of_a_width_are_on_hand_by_length(deps: Deps) -> None:
    buy(deps, "hose", D(3), parse_money("9.00 EUR"), Bought("skua"))
    place(deps, [read_wanted("2 x hose = 6.00 EUR")], Terms("skua"))
    assert hand(deps)["hose"][0] == "3"
    assert stock(deps)["coming"][0]["amount"] == "2"


def test_what_is_sold_in_several_ways_has_to_be_said(deps: Deps) -> None:
    with pytest.raises(InputError, match="several ways"):
        buy(deps, "resin", D(1), parse_money("11.90 EUR"), Bought("tern"))
    buy(deps, "resin", D(1), parse_money("11.90 EUR"), Bought("tern", sold_as="300 g"))
    buy(deps, "https://tern.example/tub", D(1), parse_money("24.90 EUR"))
    buy(deps, "resin", D(50), parse_money("2.00 EUR"))  # from a friend, by the gram
    assert hand(deps)["resin"] == ("1350", "38.80")


def test_a_bundle_second_hand_is_shared_by_its_split(deps: Deps) -> None:
    """60 and 40 % of 120.00 on the page and of the 121.50 that were debited."""
    more = Bought("skua", condition="used,  from a club mate", debited=parse_money("121.50 EUR"))
    found = buy(deps, "https://skua.example/combo", D(1), parse_money("120.00 EUR"), more)
    assert [(p.part, str(p.total), str(p.debited)) for p in found] == [
        ("motor", "72.00 EUR", "72.90 EUR"),
        ("esc", "48.00 EUR", "48.60 EUR"),
    ]
    assert {p.condition for p in found} == {"used, from a club mate"}
    assert hand(deps) == {"motor": ("1", "72.90"), "esc": ("1", "48.60")}


@pytest.mark.parametrize(
    ("count", "more", "said"),
    [
        ("0", Bought(), "more than 0"),
        ("1", Bought(debited=parse_money("-1.00 EUR")), "less than 0"),
        ("1", Bought("skua", sold_as="2 pieces"), "counted in g"),
        ("1", Bought("nobody"), "supplier"),
    ],
)
def test_bad_input_says_what_to_do(deps: Deps, count: str, more: Bought, said: str) -> None:
    with pytest.raises((InputError, NotFoundError), match=said):
        buy(deps, "resin", D(count), parse_money("5.00 EUR"), more)


def test_a_page_is_like_a_part_whose_specification_says_the_same_in_other_words() -> None:
    """What the reader calls c_rating and cells, the catalogue writes as C and "4"."""
    battery = Part("b", "Battery", spec={"C": "45", "cells": "4"}, unit="piece")
    assert [why for _, why in likeness(battery, {}, {"c_rating": "45", "cells": 4}, "x")] == [
        "same C, cells"
    ]
    assert likeness(battery, {}, {"c_rating": "60", "cells": 4}, "x") == []
    motor = Part("m", "Motor", spec={"KV": "900..1100"}, unit="piece")
    assert likeness(motor, {}, {"kv": "1000"}, "x")
