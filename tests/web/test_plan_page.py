"""The order plan of a build as a page and in the API: the same object as the command's."""

from __future__ import annotations

import asyncio

import pytest
from web_kit import application, client, desk, token_of

from service.flows import order_list


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan")
    with desk(folder) as deps:
        yield application(deps, folder)


def get(app, path: str):
    async def run():
        async with client(app) as browser:
            return await browser.get(path)

    return asyncio.run(run())


def test_the_page_shows_the_orders_of_the_api(app):
    found = get(app, "/api/plan?build=curlew&to=NL&others=true").json()
    assert found["destination"] == "NL"
    assert found["orders"]
    answer = get(app, "/builds/curlew/plan?to=NL&others=true")
    assert answer.status_code == 200
    for order in found["orders"]:
        assert order["name"].replace("&", "&amp;") in answer.text
        assert order["total"] in answer.text
    assert found["totals"]["total"] in answer.text


def test_who_asks_for_what_is_not_there_is_told(app):
    assert get(app, "/api/plan").status_code == 422
    assert get(app, "/api/plan?build=nobody").status_code == 404
    assert get(app, "/api/plan?build=curlew&for=Ada").status_code == 422
    assert get(app, "/api/plan?build=curlew&to=Holland").status_code == 422
    assert get(app, "/builds/nobody/plan").status_code == 404


def test_the_build_leads_to_its_plan(app):
    assert "/builds/curlew/plan" in get(app, "/builds/curlew").text


def test_an_order_of_the_plan_is_booked_from_its_page(tmp_path):
    """What the page booked is on its way, and is not planned again."""
    with desk(tmp_path) as deps:
        own = application(deps, tmp_path)
        order = get(own, "/api/plan?build=curlew&to=NL").json()["orders"][0]
        shown = get(own, "/builds/curlew/plan?to=NL").text
        assert all(f'name="line" value="{one}"' in shown for one in order["booking"]["lines"])

        async def book():
            async with client(own) as browser:
                token = await token_of(browser)
                form = {"token": token, "line": order["booking"]["lines"], "order": "Q-1"}
                form["shipping"] = order["booking"]["shipping"] or ""
                return await browser.post("/orders", data=form)

        assert asyncio.run(book()).status_code == 303
        [placed] = order_list.orders(deps)
        assert (placed["order"], placed["supplier"]) == ("Q-1", order["supplier"])
        assert {line["state"] for line in placed["lines"]} == {"ordered"}
        again = get(own, "/api/plan?build=curlew&to=NL").json()["orders"]
        assert order["supplier"] not in {one["supplier"] for one in again}
