"""What every route must refuse and carry, found from the route table, so that none is missed.

Sources: OWASP ASVS 5.0 chapters 3, 6 and 7; OWASP cheat sheets on cross-site request
forgery, password storage and session management; RFC 9457 for problem details.
"""

from __future__ import annotations

import asyncio
import re
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import application, client, desk, routes, token_of

from service.web.access import needed_role
from service.web.accounts import Role
from service.web.guard import CSP, SAFE_METHODS

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterator
    from pathlib import Path

    import httpx

OWN = "http://127.0.0.1:8720"


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder: Path = tmp_path_factory.mktemp("security")
    with desk(folder) as deps:
        yield application(deps, folder)


def talk(app: Any, work: Callable[[httpx.AsyncClient], Awaitable[Any]], **more: Any) -> Any:
    async def run() -> Any:
        async with client(app, **more) as browser:
            return await work(browser)

    return asyncio.run(run())


def test_the_route_table_is_found(app: Any) -> None:
    paths = routes(app)
    assert ("POST", "/parts/1/target") in paths
    assert ("GET", "/api/builds") in paths
    assert len([1 for method, _ in paths if method not in SAFE_METHODS]) >= 20


# eight header sets, each with what a changing request must get for it
SETS: list[tuple[dict[str, str], bool, set[int]]] = [
    ({"sec-fetch-site": "cross-site", "origin": "http://evil.example"}, True, {403}),
    ({"sec-fetch-site": "same-site", "origin": "http://sub.127.0.0.1"}, True, {403}),
    ({"origin": "http://evil.example"}, True, {403}),
    ({"origin": "null"}, True, {403}),
    ({"host": "evil.example", "origin": "http://evil.example"}, True, {421}),
    ({"sec-fetch-site": "same-origin", "origin": OWN}, False, {403}),
    ({}, False, {403}),
]


def test_every_change_refuses_what_it_must(app: Any) -> None:
    changing = [(m, p) for m, p in routes(app) if m not in SAFE_METHODS]

    async def work(browser: httpx.AsyncClient) -> list[str]:
        token = await token_of(browser)
        wrong = []
        for method, path in changing:
            for headers, with_token, wanted in SETS:
                sent = {**headers, **({"x-token": token} if with_token else {})}
                answer = await browser.request(method, path, headers=sent, data={"x": "1"})
                if answer.status_code not in wanted:
                    wrong.append(f"{method} {path} {headers}: {answer.status_code}")
        return wrong

    assert talk(app, work) == []


def test_the_eighth_set_gets_in(app: Any) -> None:
    """Our own page with the session's token: whatever is answered, it is not a refusal."""
    changing = [(m, p) for m, p in routes(app) if m not in SAFE_METHODS]

    async def work(browser: httpx.AsyncClient) -> list[str]:
        token = await token_of(browser)
        wrong = []
        for method, path in changing:
            if path in ("/settings/users", "/listings/check"):
                continue  # the first makes an account, which changes who may do what
            app.state.paces._times.clear()
            sent = {"sec-fetch-site": "same-origin", "origin": OWN, "x-token": token}
            answer = await browser.request(method, path, headers=sent, data={"x": "1"})
            if answer.status_code in (401, 403, 421, 500):
                wrong.append(f"{method} {path}: {answer.status_code}")
            if path == "/logout":
                token = await token_of(browser)
        return wrong

    assert talk(app, work) == []


def test_the_token_counts_only_in_its_own_session(app: Any) -> None:
    async def work(browser: httpx.AsyncClient) -> tuple[int, int]:
        token = await token_of(browser)
        sent = {"sec-fetch-site": "same-origin", "x-token": token}
        mine = await browser.post("/builds", headers=sent, data={"name": "x"})
        browser.cookies.clear()
        other = await browser.post("/builds", headers=sent, data={"name": "x"})
        return mine.status_code, other.status_code

    assert talk(app, work) == (303, 403)


def test_the_token_may_stand_in_the_form(app: Any) -> None:
    async def work(browser: httpx.AsyncClient) -> int:
        token = await token_of(browser)
        form = {"name": "By form", "token": token}
        return (await browser.post("/builds", data=form)).status_code

    assert talk(app, work) == 303


def test_a_foreign_host_is_refused_on_every_route(app: Any) -> None:
    async def work(browser: httpx.AsyncClient) -> list[str]:
        wrong = []
        for method, path in routes(app):
            answer = await browser.request(method, path, headers={"host": "rebound.example"})
            if answer.status_code != 421:
                wrong.append(f"{method} {path}: {answer.status_code}")
        return wrong

    assert talk(app, work) == []


WANTED = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def test_every_answer_is_dressed(app: Any) -> None:
    paths = [path for method, path in routes(app) if method == "GET"]
    paths += [
        "/nothing",
        "/api/nothing",
        "/builds/curlew",
        "/parts/battery-4s",
        app.state.assets.url("sheet.css"),
    ]

    async def work(browser: httpx.AsyncClient) -> list[str]:
        wrong = []
        for path in paths:
            answer = await browser.get(path, headers={"accept": "text/html"})
            wrong += [f"{path}: {k}" for k, v in WANTED.items() if answer.headers.get(k) != v]
            if "access-control-allow-origin" in answer.headers:
                wrong.append(f"{path}: CORS")
            if "cache-control" not in answer.headers:
                wrong.append(f"{path}: cache")
        return wrong

    assert talk(app, work) == []


def test_no_inline_code_or_foreign_origin_in_any_page(app: Any) -> None:
    paths = ["/", "/builds", "/builds/curlew", "/builds/curlew/versions", "/builds/curlew/publish"]
    paths += ["/parts", "/parts/battery-4s", "/kinds/batteries", "/deals", "/suppliers"]
    paths += [
        "/suppliers/harrow",
        "/workshop",
        "/settings",
        "/add",
        "/login",
        "/password",
        "/nothing",
    ]

    async def work(browser: httpx.AsyncClient) -> list[str]:
        wrong = []
        for path in paths:
            text = (await browser.get(path, headers={"accept": "text/html"})).text
            if re.search(r"<[^>]+\s(?:on[a-z]+|style)\s*=", text) or "<style" in text:
                wrong.append(f"{path}: inline")
            sources = re.findall(r'<(?:script|link|img)[^>]+(?:src|href)="([^"]*)"', text)
            wrong += [f"{path}: {source}" for source in sources if not source.startswith("/")]
            scripts = re.findall(r"<script(?![^>]*src=)[^>]*>", text)
            wrong += [f"{path}: {s}" for s in scripts if 'type="application/json"' not in s]
        return wrong

    assert talk(app, work) == []


def test_too_much_is_refused_before_it_is_read(app: Any) -> None:
    async def work(browser: httpx.AsyncClient) -> tuple[int, int]:
        token = await token_of(browser)
        kind = "multipart/form-data; boundary=x"
        headers = {"x-token": token, "content-type": kind}
        told = await browser.post("/builds", headers=headers, content=b"x" * (5 * 1024 * 1024 + 1))

        async def endless() -> Any:
            yield b'--x\r\nContent-Disposition: form-data; name="f"; filename="f"\r\n\r\n'
            for _ in range(100):
                yield b"x" * 100_000

        untold = await browser.post("/builds", headers=headers, content=endless())
        return told.status_code, untold.status_code

    assert talk(app, work) == (413, 413)


def test_errors_are_problem_details_without_inner_matters(
    app: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.flows import ask

    def broken(*_: Any, **__: Any) -> Any:
        raise RuntimeError("select secret from /home/user/book.db")

    monkeypatch.setattr(ask, "builds", broken)

    async def work(browser: httpx.AsyncClient) -> httpx.Response:
        return await browser.get("/api/builds")

    answer = talk(app, work)
    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["content-security-policy"] == CSP
    found = answer.json()
    assert found["status"] == 500
    assert found["instance"].startswith("urn:request:")
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/nothing", 404),
        ("/api/parts/none", 404),
        ("/api/builds?limit=0", 422),
        ("/api/history", 422),
    ],
)
def test_problem_details_for_known_errors(app: Any, path: str, status: int) -> None:
    async def work(browser: httpx.AsyncClient) -> httpx.Response:
        return await browser.get(path)

    answer = talk(app, work)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert {"type", "title", "status", "detail"} <= set(answer.json())


def test_writes_are_paced(app: Any) -> None:
    async def work(browser: httpx.AsyncClient) -> list[int]:
        token = await token_of(browser)
        app.state.paces._times.clear()
        return [
            (
                await browser.post(
                    "/listings/reject", headers={"x-token": token}, data={"listing": "none"}
                )
            ).status_code
            for _ in range(62)
        ]

    found = talk(app, work)
    assert found[:60] == [404] * 60
    assert found[60:] == [429, 429]
    app.state.paces._times.clear()


def test_a_get_changes_nothing(tmp_path: Path) -> None:
    """Every GET twice; the dump of the database is equal before and after."""
    import sqlite3

    def dump() -> list[str]:
        with sqlite3.connect(tmp_path / "book.db") as db:
            lines = list(db.iterdump())
        db.close()
        return lines

    with desk(tmp_path) as deps:
        app = application(deps, tmp_path)
        app.state.sessions.warm()
        before = dump()

        async def work(browser: httpx.AsyncClient) -> None:
            for _ in range(2):
                for method, path in routes(app):
                    if method == "GET" and "vega" not in path:
                        await browser.get(path, headers={"accept": "text/html"})
                await browser.get("/builds/curlew")
                await browser.get("/parts/battery-4s")

        talk(app, work)
        assert dump() == before


@pytest.mark.parametrize(
    ("method", "path", "role"),
    [
        ("GET", "/", Role.VIEWER),
        ("GET", "/api/builds", Role.VIEWER),
        ("GET", "/static/x/sheet.css", Role.NOBODY),
        ("GET", "/healthz", Role.NOBODY),
        ("GET", "/settings", Role.ADMIN),
        ("POST", "/settings/users", Role.ADMIN),
        ("POST", "/parts/x/target", Role.EDITOR),
        ("POST", "/logout", Role.VIEWER),
        ("DELETE", "/anything/new", Role.EDITOR),
    ],
)
def test_the_role_a_route_needs(method: str, path: str, role: Role) -> None:
    assert needed_role(method, path) is role
