"""The order plan of a build as a page and in the API: the same object as the command's."""

from __future__ import annotations

import asyncio

import pytest
from web_kit import application, client, desk


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
