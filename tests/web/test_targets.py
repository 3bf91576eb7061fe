"""A target of every kind is set, seen where it is meant, and taken away again.

What a companion hint suggests: a rod for each servo, resin by the mass of cloth; common practice.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import CATALOGUE, application, client, desk, token_of

from service.flows import build_edit, targets, views
from service.model.deals import DealState

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from service.flows.ports import Deps

PAGE = "https://quillfeather.example/p/4s-3300"
MORE = """
[part.servo-9g]
name = "Servo 9 g"
[part.servo-lead-30]
name = "Servo lead 30 cm"
[part.cloth]
name = "Glass cloth 80 g"
unit = "m2"
mass = "80 g"
class = ["cloth"]
[part.laminating-resin]
name = "Epoxy resin"
unit = "g"
class = ["resin"]
[build.wing]
name = "Wing"
currency = "EUR"
lines = [
  { part = "servo-9g", amount = "4 piece", group = "radio" },
  { part = "cloth", amount = "2 m2", group = "structure" },
]
"""


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path, catalogue=CATALOGUE.replace("[[target]]", MORE + "\n[[target]]")) as found:
        yield found


def sent(app: Any, path: str, data: dict[str, str], show: str) -> str:
    async def work() -> str:
        async with client(app, headers={"accept": "text/html"}) as browser:
            token = await token_of(browser)
            answer = await browser.post(path, data={**data, "token": token})
            assert answer.status_code == 303, answer.text[:400]
            return (await browser.get(show)).text

    return asyncio.run(work())


PLACES = [
    ("/listings/target", {"listing": PAGE, "value": "40.00"}, "/parts/battery-4s", "listing"),
    ("/parts/motor/target", {"value": "40.00"}, "/parts/motor", "part"),
    (
        "/kinds/batteries/target",
        {"cells": "4", "value": "30.00"},
        "/kinds/batteries?cells=4",
        "need",
    ),
    ("/builds/curlew/target", {"value": "200.00"}, "/builds/curlew", "build"),
]


@pytest.mark.parametrize(("path", "data", "show", "kind"), PLACES)
def test_each_kind_is_removable_where_it_is_shown(
    deps: Deps, tmp_path: Path, path: str, data: dict[str, str], show: str, kind: str
) -> None:
    app = application(deps, tmp_path)
    page = sent(app, path, data, show)
    made = next(row for row in targets.rows(deps) if row["kind"] == kind and row["need"] is not None
                and row["condition"] == f"at or below {data['value']} EUR")  # fmt: skip
    assert made["condition"] in page
    assert "/targets/remove" in page
    page = sent(app, "/targets/remove", {"key": made["key"], "next": show}, show)
    assert made["key"] not in {row["key"] for row in targets.rows(deps)}
    assert f"Remove the target {made['condition']}" not in page


def test_an_open_deal_ends_with_its_target(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)
    page = sent(app, "/listings/target", {"listing": PAGE, "value": "45"}, "/deals")
    key = f"listing:{PAGE}:at_or_below"
    assert "met now" in page
    sent(app, "/targets/remove", {"key": key}, "/deals")
    with deps.store.read() as unit:
        assert [d for d in unit.deals.open_deals() if d.target == key] == []
        ended = next(d for d in unit.deals.deals() if d.target == key)
        assert unit.deals.met_since(key) is None
    assert ended.state is DealState.CLOSED
    assert ended.close_reason == targets.REMOVED


def test_a_target_that_is_gone_says_so(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)

    async def work() -> int:
        async with client(app, headers={"accept": "text/html"}) as browser:
            data = {"key": "nothing", "token": await token_of(browser)}
            return (await browser.post("/targets/remove", data=data)).status_code

    assert asyncio.run(work()) == 404


def test_a_hint_suggests_the_books_own_part_and_an_amount(deps: Deps) -> None:
    found = {row["rule"]: row for row in views.build_sheet(deps, "wing")["companions"]}
    lead = found["servo-lead"]
    assert (lead["add"], lead["known"], lead["amount"]) == ("Servo lead 30 cm", True, "4 piece")
    rod = found["servo-linkage"]
    assert (rod["add"], rod["known"], rod["amount"]) == ("Pushrod with its ends", False, "4 piece")
    resin = found["cloth-resin"]  # 160 g of cloth: once its mass in a mould
    assert (resin["known"], resin["amount"], resin["group"]) == (True, "160 g", "structure")


@pytest.mark.parametrize("rule", ["servo-lead", "servo-linkage", "servo-mount", "cloth-resin"])
def test_adding_what_it_suggests_answers_the_hint(deps: Deps, tmp_path: Path, rule: str) -> None:
    hints = {row["rule"]: row for row in views.build_sheet(deps, "wing")["companions"]}
    hint = hints[rule]
    app = application(deps, tmp_path)
    data = {"part": hint["add"], "amount": hint["amount"], "group": hint["group"]}
    page = sent(app, "/builds/wing/companions", data, "/builds/wing")
    assert hint["add"] in page
    left = {row["rule"] for row in views.build_sheet(deps, "wing")["companions"]}
    assert rule not in left


def test_a_companion_without_a_name_is_refused(deps: Deps) -> None:
    from service.errors import InputError

    with pytest.raises(InputError):
        build_edit.add_companion(deps, "wing", "  ", "1 piece", "radio")
