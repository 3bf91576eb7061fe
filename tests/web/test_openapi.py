"""The API keeps to its own OpenAPI document under random input; no answer is a server error.

schemathesis (Hypothesis over OpenAPI) where it is installed; RFC 9110 (entity tags, 13.1.2),
RFC 8288 (Link), RFC 9457 (problem details).
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import application, client, desk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import httpx


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder: Path = tmp_path_factory.mktemp("openapi")
    with desk(folder) as deps:
        yield application(deps, folder)


def get(app: Any, path: str, **headers: str) -> httpx.Response:
    async def run() -> httpx.Response:
        async with client(app, headers=headers) as browser:
            return await browser.get(path)

    return asyncio.run(run())


def test_random_input_brings_no_server_error(app: Any) -> None:
    schemathesis = pytest.importorskip("schemathesis", reason="schemathesis is not installed")
    from hypothesis import HealthCheck, Phase, given, settings

    schema = schemathesis.openapi.from_dict(get(app, "/api/openapi.json").json())
    wrong: list[str] = []
    tried: list[str] = []

    def ask(case: Any) -> None:
        raw = case.operation.definition.raw
        known = {int(code) for code in raw["responses"] if code.isdigit()} | {304}
        query = {k: v for k, v in (case.query or {}).items() if v is not None}
        answer = get_raw(app, case.formatted_path, query)
        tried.append(case.operation.label)
        if answer.status_code not in known:
            wrong.append(
                f"{case.operation.label} {case.formatted_path} {query}: {answer.status_code}"
            )

    calm = settings(
        max_examples=12,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    for result in schema.get_all_operations():
        calm(given(case=result.ok().as_strategy())(ask))()
    assert len(set(tried)) >= 15
    assert wrong == []


def get_raw(app: Any, path: str, query: dict[str, Any]) -> httpx.Response:
    async def run() -> httpx.Response:
        async with client(app) as browser:
            return await browser.get(path, params=query)

    return asyncio.run(run())


def test_an_entity_tag_saves_the_second_answer(app: Any) -> None:
    first = get(app, "/api/builds")
    again = get(app, "/api/builds", **{"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]


def test_a_list_comes_in_pages(app: Any) -> None:
    first = get(app, "/api/listings?limit=3")
    assert len(first.json()) == 3
    assert first.headers["x-total"] == "8"
    link = first.headers["link"]
    following = get(app, link.partition("<")[2].partition(">")[0])
    assert len(following.json()) == 3
    keys = [row["listing"] for row in first.json() + following.json()]
    assert len(set(keys)) == 6


PAIRS = [
    ("/builds", "/api/builds"),
    ("/builds/curlew", "/api/builds/curlew/reprice"),
    ("/builds/curlew", "/api/builds/curlew/series"),
    ("/builds/curlew/versions", "/api/builds/curlew/versions"),
    ("/parts", "/api/parts"),
    ("/parts/battery-4s", "/api/parts/battery-4s"),
    ("/parts/battery-4s", "/api/history?subject=battery-4s"),
    ("/kinds/batteries", "/api/kinds/batteries"),
    ("/suppliers", "/api/suppliers"),
    ("/suppliers/harrow", "/api/suppliers/harrow"),
    ("/deals", "/api/deals"),
    ("/workshop", "/api/workshop"),
    ("/", "/api/today"),
]


@pytest.mark.parametrize(("page", "twin"), PAIRS)
def test_every_page_has_its_data_in_the_api(app: Any, page: str, twin: str) -> None:
    assert get(app, page, accept="text/html").status_code == 200
    answer = get(app, twin)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"


def test_money_is_text_with_its_minor_units(app: Any) -> None:
    found = get(app, "/api/builds/curlew/reprice").json()
    assert found["totals"]["share"] == "186.64"  # 25.42 + 28.26 + 6.33 + 44.83 + 39.90 + 41.90
    lines = {line["part"]: line for line in found["lines"]}
    # 0.62 m2 of sheets of 0.1 m2 at 4.10: 25.42 used up, 7 whole ones to buy: 28.70
    assert (lines["balsa-2"]["share"], lines["balsa-2"]["to_spend"]) == ("25.42", "28.70")
    assert lines["propeller"]["status"] == "missing"
    assert found["totals"]["complete"] is False
