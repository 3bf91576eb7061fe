"""A build takes what it needs in one step; lines behind a mixture; reprice by the user's choice.

Sums by hand beside each. Pieces, saw cuts and scrap leave the shelf, what is longer than the
scrap stays on it (common practice of workshops).
"""

from __future__ import annotations

import asyncio
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import CATALOGUE, application, client, desk, token_of

from service.errors import InputError, NotFoundError
from service.flows import ask, views, workshop
from service.flows.stock import stock
from service.flows.taking import take_all
from service.model.money import Money
from service.model.orders import Purchase

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import httpx

    from service.flows.ports import Deps

MORE = """
[part.mixed]
name = "Casting resin"
unit = "g"
mix = "100:42"
mix_of = ["part-a", "part-b"]
[part.part-a]
name = "Component A"
unit = "g"
[part.part-b]
name = "Component B"
unit = "g"
[part.pliers]
name = "Pliers"

[build.wing]
name = "Wing"
currency = "EUR"
lines = [
  { part = "mixed", amount = "142 g", group = "structure" },
  { part = "spar", cuts = ["600 mm x 3", "150 mm x 1"], kerf = "2 mm", group = "structure" },
  { part = "resin", amount = "90 g", group = "structure", waste = "10 %" },
  { part = "motor", amount = "1 piece", group = "drive", counts = "shared 2" },
  { part = "pliers", amount = "1 piece", counts = "tool" },
  { part = "esc", amount = "1 piece", group = "drive" },
]
"""


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path, catalogue=CATALOGUE + MORE) as found:
        with found.store.write() as unit:
            for part, count, cost in (("spar", 3, "30.00"), ("motor", 1, "40.00")):
                unit.purchases.add(
                    Purchase(
                        part, Decimal(count), Money(Decimal(cost), "EUR"), on=date(2026, 11, 1)
                    )
                )
        yield found


@pytest.fixture
def app(deps: Deps, tmp_path: Path) -> Any:
    return application(deps, tmp_path)


def asked(app: Any, path: str, *, page: bool = False, **form: str) -> httpx.Response:
    async def run() -> httpx.Response:
        accept = {"accept": "text/html"} if page or form else {}
        async with client(app, headers=accept) as browser:
            if not form:
                return await browser.get(path)
            token = await token_of(browser)
            return await browser.post(path, data={**form, "token": token})

    return asyncio.run(run())


def hand(deps: Deps) -> dict[str, tuple[str, list[str]]]:
    return {row["part"]: (row["amount"], row["offcuts"]) for row in stock(deps)["on_hand"]}


def test_all_that_is_on_hand_goes_in_at_once_and_offcuts_stay(deps: Deps) -> None:
    """Three bars of 1 m: 600 + 2 + 150 + 2 leave 246 mm, twice 600 + 2 leave 398 mm."""
    found = take_all(deps, "wing")
    taken = {row["part"]: row for row in found["lines"]}
    offcuts = sorted(taken["spar"]["offcuts"])
    assert offcuts == ["1 x 246 mm", "2 x 398 mm"]
    left = Decimal("0.246") + 2 * Decimal("0.398")
    assert taken["spar"]["amount"] == str(3 - left)  # 1.958 m: pieces, saw cuts, nothing else
    assert taken["resin"]["amount"] == "99"  # 90 g and a tenth
    assert (taken["motor"]["amount"], "shared" in taken["motor"]["note"]) == ("0", True)
    assert (taken["pliers"]["amount"], "tool" in taken["pliers"]["note"]) == ("0", True)
    assert hand(deps)["spar"] == (str(left), ["2 x 398 mm", "1 x 246 mm"])
    assert hand(deps)["resin"][0] == "251"
    # 1.958 of 3 m at 30.00 are 19.58; 99 of 350 g at 24.60 are 6.96 (6.9583)
    assert found["worth"] == "26.54"


def test_what_was_taken_is_not_taken_again_and_the_build_needs_no_more(deps: Deps) -> None:
    take_all(deps, "wing")
    again = take_all(deps, "wing")
    assert {row["amount"] for row in again["lines"]} == {"0"}
    lines = {line["part"]: line for line in ask.reprice(deps, "wing")["lines"]}
    assert (lines["spar"]["buy"], lines["spar"]["to_spend"]) == (0, "0.00")


def test_short_rests_are_scrap(deps: Deps) -> None:
    found = take_all(deps, "wing", scrap="30 cm")
    taken = {row["part"]: row for row in found["lines"]}
    assert taken["spar"]["offcuts"] == ["2 x 398 mm"]
    assert taken["spar"]["amount"] == "2.204"  # 3 - 2 x 0.398


def test_offcuts_that_were_cut_up_are_gone(deps: Deps) -> None:
    workshop.set_offcut(deps, "spar", "700 mm", 1)
    workshop.use(deps, "spar", "0.3 m", "curlew")  # 2.7 m: two bars and the 700 mm
    taken = {row["part"]: row for row in take_all(deps, "wing")["lines"]}
    # 700 -> 600 (98 left); 1000 -> 600 + 150 (246); 1000 -> 600 (398), or the 150 from the other
    sizes = [text.partition(" x ")[2] for text in taken["spar"]["offcuts"]]
    assert "700 mm" not in sizes
    left = sum(
        Decimal(text.split(" ")[0]) * Decimal(text.split(" ")[2])
        for text in taken["spar"]["offcuts"]
    )
    assert left == Decimal(98 + 246 + 398)
    assert Decimal(taken["spar"]["amount"]) == Decimal("2.7") - left / 1000


def test_too_few_bars_are_left_alone(deps: Deps) -> None:
    workshop.use(deps, "spar", "1 m", "curlew")
    taken = {row["part"]: row for row in take_all(deps, "wing")["lines"]}
    assert (taken["spar"]["amount"], taken["spar"]["offcuts"]) == ("0", None)
    assert "cut" in taken["spar"]["note"]


def test_a_preview_books_nothing(deps: Deps) -> None:
    before = hand(deps)
    take_all(deps, "wing", preview=True)
    assert hand(deps) == before
    with pytest.raises(NotFoundError):
        take_all(deps, "none", preview=True)
    with pytest.raises(InputError, match="30 mm"):
        take_all(deps, "wing", scrap="a bit", preview=True)


def test_the_page_shows_it_first_and_books_it_then(app: Any, deps: Deps) -> None:
    page = asked(app, "/builds/wing/take", page=True)
    assert page.status_code == 200
    assert "398 mm" in page.text
    assert hand(deps)["spar"] == ("3", [])
    answer = asked(app, "/builds/wing/take", on="2026-11-20", scrap="30 mm")
    assert answer.status_code == 303
    assert hand(deps)["spar"][0] == "1.042"
    assert asked(app, "/api/builds/wing/take").json()["preview"] is True


def test_the_line_behind_a_mixture_is_the_one_that_is_changed(app: Any, deps: Deps) -> None:
    """The mixture is shown as two lines, so that the third that is seen is the second kept."""
    sheet = views.build_sheet(deps, "wing")
    shown = [(line["part"], line["place"], line["own_amount"]) for line in sheet["lines"]]
    assert shown[:4] == [
        ("part-a", 0, "142 g"),
        ("part-b", None, None),
        ("spar", 1, None),
        ("resin", 2, "90 g"),
    ]
    asked(app, "/builds/wing/lines/2", act="keep", amount="80 g", group="hull")
    with deps.store.read() as unit:
        build = unit.catalogue.build("wing")
    assert build is not None
    assert [(x.part, x.group) for x in build.lines][1:3] == [
        ("spar", "structure"),
        ("resin", "hull"),
    ]


def test_the_api_and_the_pages_take_the_users_choice(app: Any) -> None:
    """90 g of 350 g at 24.60 EUR are 6.33 EUR; DE to NL is 121/119 of it, in GBP at 0.8421."""
    plain = asked(app, "/api/builds/curlew/reprice").json()
    assert plain["lines"][2]["share"] == "6.33"
    other = asked(app, "/api/builds/curlew/reprice?currency=gbp&country=nl").json()
    assert (other["currency"], other["destination"]) == ("GBP", "NL")
    want = Decimal("24.60") * 90 / 350 * 121 / 119 * Decimal("0.8421")
    assert other["lines"][2]["share"] == str(want.quantize(Decimal("0.01")))
    page = asked(app, "/builds/curlew?currency=GBP&country=NL", page=True)
    assert str(want.quantize(Decimal("0.01"))) in page.text
    spend = asked(app, "/api/builds/curlew/reprice?rule=least-spend").json()
    assert {x["rule"] for x in spend["lines"] if x["rule"]} == {"least to spend"}
    # two batteries at 89.60 are 44.80 each, one at 41.90: both rules take the single one
    assert spend["totals"]["to_spend"] <= plain["totals"]["to_spend"]
    assert asked(app, "/api/builds/curlew/reprice?country=Holland").status_code == 422
    assert asked(app, "/api/builds/curlew/reprice?rule=dearest").status_code == 422
    published = asked(app, "/builds/curlew/cost.csv?currency=GBP&country=NL&columns=share")
    assert str(want.quantize(Decimal("0.01"))) in published.text
