"""The cost of a build as a series is that of `reprice --at` at each of its points."""

from __future__ import annotations

import asyncio
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from web_kit import CATALOGUE, NOW, application, client, desk

from service.exchange.catalogue import book_from_document, parse_toml
from service.flows import edit, views
from service.flows.publish import read_wish, reprice
from service.model.money import parse_money

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from service.flows.ports import Deps

# beside the demo's own builds one with alternatives, a requirement, a cut list and labour
MORE = """
[build.heron]
name = "Heron"
currency = "EUR"
hours = 2
labour_rate = "5.00 EUR"
lines = [
  { or = [{ part = "motor", amount = "1 piece" }, { part = "esc", amount = "1 piece" }] },
  { need = { cells = 4 }, amount = "1 piece" },
  { part = "spar", cuts = ["600 mm x 2"] },
  { part = "resin", amount = "20 g", counts = "stock" },
]
"""


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path, filled=True, catalogue=CATALOGUE + MORE) as found:
        with found.store.write() as unit:  # a euro is a cent more of francs every day for ten days
            days = (date(2026, 11, 14) + timedelta(days=n) for n in range(10))
            unit.rates.add(
                (day, "CHF", str(Decimal("0.9") + Decimal(n) / 100)) for n, day in enumerate(days)
            )
        yield found


@pytest.mark.parametrize("key", ["curlew", "heron"])
def test_every_point_is_what_repricing_says_of_that_time(deps: Deps, key: str) -> None:
    points = views.build_series(deps, key, 230)["points"]
    assert len(points) > 20
    for point in points[::6]:
        totals = reprice(deps, key, read_wish(point["at"]))["totals"]
        assert (point["share"], point["complete"]) == (totals["share"], totals["complete"])


def test_a_new_days_rate_moves_what_is_paid_in_that_currency(deps: Deps) -> None:
    """1 m of 11.90 CHF at 0.90, 0.91 ... 0.99 CHF a euro: 13.22 (13.2222) down to 12.02."""
    text = """
[supplier.alp]
name = "Alp"
currency = "CHF"
[part.rod]
name = "Rod"
unit = "m"
[[part.rod.listing]]
supplier = "alp"
sold_as = "1 m"
[build.rodded]
name = "Rodded"
currency = "EUR"
lines = [{ part = "rod", amount = "1 m" }]
"""
    from service.model.prices import Observation, Offer

    with deps.store.write() as unit:
        unit.catalogue.save(book_from_document(parse_toml(text, "x.toml")), now=NOW)
        listing = unit.catalogue.listing("alp/rod")
        assert listing is not None
        seen = [NOW - timedelta(days=n) for n in range(11, -1, -1)]
        offer = Offer(Decimal("11.90"), "CHF")
        unit.log.record([Observation(listing.id, at, offer) for at in seen])
    points = views.build_series(deps, "rodded", 9)["points"]
    found = {datetime.fromisoformat(p["at"]).date(): p["share"] for p in points}
    for day, share in found.items():
        step = min(9, (day - date(2026, 11, 14)).days)
        want = Decimal("11.90") / (Decimal("0.9") + Decimal(step) / 100)
        assert share == str(want.quantize(Decimal("0.01"))), day
    assert len(set(found.values())) > 5


def test_versions_show_cost_and_mass_by_group_and_what_would_be_cheaper(tmp_path: Path) -> None:
    """A motor of 44.83 and 180 g, its equivalent of 39.83: 5.00 saved either way."""
    text = CATALOGUE.replace(
        '[part.motor]\nname = "Outrunner 900 KV"',
        '[part.motor]\nname = "Outrunner 900 KV"\nmass = "180 g"\n'
        'equivalent = [{ part = "motor-b", note = "5 mm longer" }]',
    )
    text += """
[part.motor-b]
name = "Outrunner 900 KV, B"
[[part.motor-b.listing]]
supplier = "dunnock"
sold_as = "1 piece"
"""
    with desk(tmp_path, catalogue=text) as deps:
        edit.book_price(deps, "motor-b", parse_money("39.83 EUR"), "dunnock")
        found = views.versions(deps, "curlew")
        assert found["columns"][0]["groups"]["drive"]["mass"] == "180"
        (better,) = [p for p in found["proposals"] if p["instead_of"] == "Outrunner 900 KV"]
        assert better == {  # 44.83 - 39.83
            "part": "Outrunner 900 KV, B",
            "instead_of": "Outrunner 900 KV",
            "note": "5 mm longer",
            "saves_share": "5.00",
            "saves_to_spend": "5.00",
        }

        async def page() -> str:
            async with client(application(deps, tmp_path), headers={"accept": "text/html"}) as one:
                return (await one.get("/builds/curlew/versions")).text

        text = asyncio.run(page())
        assert "180" in text
        assert "5 mm longer" in text
