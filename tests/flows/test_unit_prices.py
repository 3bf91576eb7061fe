"""The price of one of what a part is counted in, on pages, over time and as targets see it.

Worked out by hand from what one purchase holds: 3.60 for 20 hinges is 0.36 a pair, 12.00 for
6 feet is 2.00 a foot (0.3048 m, international yard and pound agreement of 1959).
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from web_kit import NOW, desk

from service.flows.past import history
from service.flows.react import react
from service.flows.views.parts import part_chart, parts
from service.model.prices import Observation, Offer

BOOK = """
[supplier.wick]
name = "Wick"
currency = "EUR"
country = "NL"
[part.hinge]
name = "Pin hinge"
unit = "pair"
[[part.hinge.listing]]
supplier = "wick"
sold_as = "20 piece"
[part.rod]
name = "Brass rod"
unit = "ft"
[[part.rod.listing]]
supplier = "wick"
sold_as = "6 ft"
[part.clamp]
name = "Clamps by the half dozen"
unit = "pair"
pair_is = 6
[[part.clamp.listing]]
supplier = "wick"
sold_as = "12 piece"
[[target]]
part = "clamp"
at_or_below = "9.00 EUR"
"""
PRICES = {"wick/hinge": "3.60", "wick/rod": "12.00", "wick/clamp": "18.00"}
EACH = {"hinge": ("0.36", "pair"), "rod": ("2.00", "ft"), "clamp": ("9.00", "pair")}


@pytest.fixture
def deps(tmp_path):
    with desk(tmp_path, catalogue=BOOK) as made:
        with made.store.write() as unit:
            for key, price in PRICES.items():
                listing = unit.catalogue.listing(key)
                for hours in (30, 1):
                    offer = Offer(Decimal(price), "EUR")
                    at = NOW - timedelta(hours=hours)
                    unit.log.record([Observation(listing.id, at, offer)])
        yield made


def test_a_page_shows_the_price_of_one_unit(deps):
    rows = {row["part"]: row for row in parts(deps)}
    found = {key: (rows[key]["each"], rows[key]["per"], rows[key]["per_unit"]) for key in EACH}
    assert found == {"hinge": ("0.36", "0.360", "pair"), "rod": ("2.00", "2.00", "ft"),
                     "clamp": ("9.00", "9.00", "pair")}  # fmt: skip


def test_a_chart_draws_the_price_of_one_unit(deps):
    for key, (each, unit) in EACH.items():
        chart = part_chart(deps, key, 90)
        assert chart.title == f"Price of one {unit}"
        assert {run.value for run in chart.lines[1].runs} == {Decimal(each)}, key


def test_the_past_counts_it_too(deps):
    for key, (each, _) in EACH.items():
        assert Decimal(history(deps, key)["stats"]["now"]) == Decimal(each), key


def test_a_target_on_a_pair_that_is_not_two(deps):
    with deps.store.write() as unit:
        react(unit, deps, {x.id for x in unit.catalogue.listings()}, at=NOW)
        assert [deal.target.split(":")[1] for deal in unit.deals.open_deals()] == ["clamp"]
