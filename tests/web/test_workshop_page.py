"""Orders, stock and spending on the pages. Sums by hand beside each; first in first out and
late bills shared by price are common practice of stores and of landed cost.
"""

from __future__ import annotations

import asyncio
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import CATALOGUE, application, client, desk, token_of

from service.flows import views
from service.flows.views.shops import days_taken
from service.model.orders import Order, OrderLine, Step

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from service.flows.ports import Deps

BOOK = CATALOGUE.replace(
    '[part.resin]\nname = "Laminating resin"\nunit = "g"',
    '[part.resin]\nname = "Laminating resin"\nunit = "g"\nkeep = "500 g"\nshelf_life = "365 d"',
)


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path, catalogue=BOOK) as found:
        yield found


def sent(app: Any, path: str, **data: str) -> str:
    async def work() -> str:
        async with client(app, headers={"accept": "text/html"}) as browser:
            token = await token_of(browser)
            answer = await browser.post(path, data={**data, "token": token})
            assert answer.status_code == 303, answer.text[-600:]
            return (await browser.get("/workshop")).text

    return asyncio.run(work())


def order(app: Any, **more: str) -> str:
    data = {"part": "motor", "count": "2", "total": "89.66 EUR", "supplier": "dunnock"}
    data |= {"how": "ordered", "on": "2026-11-10", "order": "D-77"}
    return sent(app, "/workshop/buy", **(data | more))


def test_an_order_is_on_its_way_until_it_is_here(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)
    page = order(app)
    assert "On its way" in page
    assert views.workshop(deps)["coming"][0]["amount"] == "2"
    sent(app, "/workshop/orders", order="D-77", what="arrived", count="1", on="2026-11-14")
    found = views.workshop(deps)
    assert found["orders"][0]["open"]
    assert (found["coming"][0]["amount"], motor(found)["amount"]) == ("1", "1")
    page = sent(app, "/workshop/orders", order="D-77", what="arrived", on="2026-11-17")
    found = views.workshop(deps)
    assert not found["coming"]
    assert motor(found)["cost"] == "89.66"
    assert "Orders that are here" in page


def motor(found: dict[str, Any]) -> dict[str, Any]:
    return next(row for row in found["on_hand"] if row["part"] == "motor")


def test_a_bill_a_return_and_a_refund(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)
    order(app)
    sent(app, "/workshop/orders", order="D-77", what="arrived")
    sent(app, "/workshop/orders", order="D-77", what="customs", money="10.34 EUR")
    assert motor(views.workshop(deps))["cost"] == "100.00"  # 89.66 + 10.34
    sent(app, "/workshop/orders", order="D-77", what="returned", count="1", money="44.83 EUR")
    found = views.workshop(deps)
    assert motor(found)["amount"] == "1"
    assert found["money"]["back"] == "44.83"


def test_a_build_takes_it_and_today_says_so(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)
    order(app, how="here")
    sent(app, "/workshop/take", part="motor", amount="1 piece", to="build:curlew")
    spent = views.today(deps)["spent"]
    assert spent["builds"] == [{"name": "Curlew 2000", "total": "44.83", "currency": "EUR"}]
    assert spent["waiting"] == {"total": "69.43", "currency": "EUR"}  # 44.83 + 24.60 of resin


def test_what_runs_low_and_until_when_it_is_good(deps: Deps, tmp_path: Path) -> None:
    found = views.workshop(deps)
    assert found["low"][0]["lacking"] == "150"  # 500 g to keep, 350 g there
    resin = next(row for row in found["on_hand"] if row["part"] == "resin")
    assert resin["good_until"] == "2027-10-03"  # bought on 3 October 2026, 365 days
    page = sent(application(deps, tmp_path), "/workshop/good", part="resin")
    assert "24 Nov 2027" in page


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("/workshop/orders", {"order": "none", "what": "arrived"}),
        ("/workshop/orders", {"order": "D-77", "what": "burnt", "money": "1 EUR"}),
        ("/workshop/orders", {"order": "D-77", "what": "customs"}),
        ("/workshop/take", {"part": "resin", "amount": "9 g", "to": "sold"}),
        ("/workshop/take", {"part": "resin", "amount": "9 g", "to": "elsewhere"}),
    ],
)
def test_what_cannot_be_booked_says_why(
    deps: Deps, tmp_path: Path, path: str, data: dict[str, str]
) -> None:
    app = application(deps, tmp_path)
    order(app)

    async def work() -> int:
        async with client(app, headers={"accept": "text/html"}) as browser:
            form = {**data, "token": await token_of(browser)}
            return (await browser.post(path, data=form)).status_code

    assert asyncio.run(work()) in (404, 422)


def placed(key: str, *lines: tuple[str, int | None]) -> Order:
    """Lines as `(what came of it, day of November)`."""
    made = tuple(
        OrderLine(n, () if day is None else (Step(kind, date(2026, 11, day), 1),))  # type: ignore[arg-type]  # kinds as text
        for n, (kind, day) in enumerate(lines)
    )
    return Order(key, date(2026, 11, 2), "dunnock", made)


def test_days_are_those_of_orders_that_are_wholly_here() -> None:
    orders = [
        placed("a", ("arrived", 6), ("arrived", 9)),  # 7 days, by its last part
        placed("b", ("arrived", 5), ("cancelled", 6)),  # 3 days: the rest never came
        placed("c", ("arrived", 5), ("", None)),  # still waited for
        placed("d", ("arrived", 2)),  # fetched at the counter
    ]
    assert days_taken(orders) == {"dunnock": [7, 3]}


def test_suppliers_show_days_only_where_they_are_known(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)

    async def shown() -> str:
        async with client(app, headers={"accept": "text/html"}) as browser:
            return (await browser.get("/suppliers")).text

    assert "Days it took" not in asyncio.run(shown())
    order(app)
    sent(app, "/workshop/orders", order="D-77", what="arrived", on="2026-11-17")
    page = asyncio.run(shown())
    assert "Days it took" in page
    assert ">7 <" in page
