"""Accounts, sessions and roles, as a club uses them.

Sources: OWASP Password Storage cheat sheet (Argon2id, 19 MiB, t=2, p=1); OWASP ASVS 5.0,
6.2.1 (length), 6.2.9 (64 and more allowed), 6.3.1 (throttling), 7.2.3 and 7.2.4 (sessions), 7.4.
"""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import NOW, application, client, desk, routes, token_of

from service.errors import InputError
from service.web.access import needed_role
from service.web.accounts import Accounts, Role, check_password
from service.web.guard import SAFE_METHODS
from service.web.sessions import Sessions

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import httpx

    from service.flows.ports import Deps

WORDS = "four dull herons wade"


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path, filled=False) as found:
        yield found


def test_passwords_are_argon2id_with_the_published_parameters(deps: Deps) -> None:
    accounts = Accounts(deps.store, deps.clock)
    accounts.add("ada", WORDS, Role.ADMIN)
    secret = accounts.all()["ada"].secret
    assert re.match(r"\$argon2id\$v=19\$m=19456,t=2,p=1\$", secret)
    assert WORDS not in repr(accounts.all())
    again = Accounts(deps.store, deps.clock)
    assert again.log_in("Ada", WORDS, "::1") is not None
    assert again.log_in("ada", WORDS + "x", "::1") is None
    assert again.log_in("nobody", WORDS, "::1") is None


@pytest.mark.parametrize(
    "password", ["short", "password1234", "aaaaaaaaaaaa", "ada-is-here", "qwertyuiop", "x" * 257]
)
def test_guessable_passwords_are_refused(password: str) -> None:
    with pytest.raises(InputError):
        check_password("ada", password)


@pytest.mark.parametrize("password", ["x1y2z3w4", WORDS, "ü" * 3 + "abcdefgh" + "é", "abcd" * 16])
def test_no_composition_rules(password: str) -> None:
    check_password("ada", password)


def test_guesses_are_few_and_nobody_is_locked_out_for_good(deps: Deps) -> None:
    now = [NOW]
    accounts = Accounts(deps.store, lambda: now[0])
    accounts.add("ada", WORDS, Role.ADMIN)
    evaluated = 0
    for _ in range(40):
        try:
            accounts.log_in("ada", "wrong guess", "192.0.2.9")
            evaluated += 1
        except InputError:
            continue
    assert evaluated == 5
    assert accounts.log_in("ada", WORDS, "192.0.2.10") is not None  # from elsewhere
    now[0] += timedelta(minutes=16)
    assert accounts.log_in("ada", WORDS, "192.0.2.9") is not None


def test_the_last_admin_stays(deps: Deps) -> None:
    accounts = Accounts(deps.store, deps.clock)
    accounts.add("ada", WORDS, Role.ADMIN)
    accounts.add("bob", WORDS, Role.EDITOR)
    with pytest.raises(InputError):
        accounts.set_role("ada", Role.VIEWER)
    with pytest.raises(InputError):
        accounts.remove("ada")


def test_sessions_are_stored_hashed_and_end(deps: Deps) -> None:
    now = [NOW]
    sessions = Sessions(deps.store, lambda: now[0], club=True)
    session = sessions.begin("ada")
    assert len(session.cookie) >= 43  # 256 bits in base 64
    with deps.store.read() as unit:
        assert session.cookie not in (unit.setting("web.sessions") or "")
    restarted = Sessions(deps.store, lambda: now[0], club=True)
    assert restarted.find(session.cookie).user == "ada"
    now[0] += timedelta(hours=13)  # idle for longer than a club allows
    assert restarted.find(session.cookie).user is None
    other = restarted.begin("ada")
    restarted.end_all_of("ada")
    assert restarted.find(other.cookie).user is None


def test_a_used_session_still_ends_in_time(deps: Deps) -> None:
    now = [NOW]
    sessions = Sessions(deps.store, lambda: now[0], club=True)
    cookie = sessions.begin("ada").cookie
    for _ in range(16):
        now[0] += timedelta(hours=10)
        assert sessions.find(cookie).user == "ada"
    now[0] += timedelta(hours=10)
    assert sessions.find(cookie).user is None


async def log_in(browser: httpx.AsyncClient, name: str) -> int:
    token = await token_of_page(browser, "/login")
    form = {"name": name, "password": WORDS, "token": token}
    return (await browser.post("/login", data=form)).status_code


async def token_of_page(browser: httpx.AsyncClient, path: str) -> str:
    text = (await browser.get(path, headers={"accept": "text/html"})).text
    return re.search(r'name="token" value="([^"]+)"', text).group(1)  # type: ignore[union-attr]  # fails the test


def test_roles_by_route(deps: Deps, tmp_path: Path) -> None:
    """Every route for every role: what is not allowed is refused, what is allowed is not."""
    app = application(deps, tmp_path)
    for name, role in [("ada", Role.ADMIN), ("eve", Role.EDITOR), ("vic", Role.VIEWER)]:
        app.state.accounts.add(name, WORDS, role)
    roles = {None: Role.NOBODY, "vic": Role.VIEWER, "eve": Role.EDITOR, "ada": Role.ADMIN}

    async def work() -> list[str]:
        wrong = []
        for name, role in roles.items():
            async with client(app) as browser:
                if name:
                    assert await log_in(browser, name) == 303
                    token = await token_of(browser)
                else:
                    token = await token_of_page(browser, "/login")
                wrong += await tried(app, browser, name, role, token)
        return wrong

    assert asyncio.run(work()) == []


async def tried(
    app: Any, browser: httpx.AsyncClient, name: str | None, role: Role, token: str
) -> list[str]:
    wrong = []
    for method, path in routes(app):
        if path in ("/logout", "/login", "/password", "/settings/users", "/settings/users/role"):
            continue  # they change who is asking
        app.state.paces._times.clear()
        answer = await browser.request(
            method,
            path,
            headers={"x-token": token},
            data={"x": "1"} if method not in SAFE_METHODS else None,
        )
        refused = answer.status_code in (401, 403)
        if refused == (role >= needed_role(method, path)):
            wrong.append(f"{name} {method} {path}: {answer.status_code}")
    return wrong


def test_login_gives_a_new_session_and_logout_ends_it(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)
    app.state.accounts.add("ada", WORDS, Role.ADMIN)

    async def work() -> None:
        async with client(app, headers={"accept": "text/html"}) as browser:
            shut = await browser.get("/builds")
            assert (shut.status_code, shut.headers["location"]) == (303, "/login?next=/builds")
            await browser.get("/login")
            before = browser.cookies["ebbmark"]
            assert await log_in(browser, "ada") == 303
            inside = browser.cookies["ebbmark"]
            assert inside != before
            assert (await browser.get("/builds")).status_code == 200
            token = await token_of(browser)
            await browser.post("/logout", data={"token": token})
            browser.cookies.set("ebbmark", inside)
            assert (await browser.get("/builds")).status_code == 303

    asyncio.run(work())


def test_the_cookie_is_bound_to_tls_where_there_is_tls(deps: Deps, tmp_path: Path) -> None:
    from service.web.exposure import Exposure

    app = application(deps, tmp_path, exposure=Exposure(tls=True))

    async def work() -> tuple[str, str]:
        async with client(
            app, "https://127.0.0.1:8720", headers={"accept": "text/html"}
        ) as browser:
            answer = await browser.get("/")
            return answer.headers["set-cookie"], answer.headers["strict-transport-security"]

    cookie, hsts = asyncio.run(work())
    assert cookie.startswith("__Host-ebbmark=")
    assert {"Path=/", "HttpOnly", "Secure", "SameSite=Lax"} <= set(cookie.split("; "))
    assert hsts.startswith("max-age=31536000")


def test_wrong_name_and_wrong_password_answer_alike(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)
    app.state.accounts.add("ada", WORDS, Role.ADMIN)

    async def tries(name: str) -> tuple[int, str]:
        async with client(app, headers={"accept": "text/html"}) as browser:
            token = await token_of_page(browser, "/login")
            answer = await browser.post(
                "/login", data={"name": name, "password": "not the one", "token": token}
            )
            return answer.status_code, re.sub(token, "", answer.text)

    assert asyncio.run(tries("ada")) == asyncio.run(tries("nobody"))


def test_the_first_account_shuts_the_door(deps: Deps, tmp_path: Path) -> None:
    app = application(deps, tmp_path)

    async def work() -> tuple[int, int, int]:
        async with client(app) as browser, client(app) as stranger:
            token = await token_of(browser)
            open_before = (await stranger.get("/api/builds")).status_code
            await browser.post(
                "/settings/users", data={"name": "ada", "password": WORDS, "token": token}
            )
            return (
                open_before,
                (await stranger.get("/api/builds")).status_code,
                (await browser.get("/api/builds")).status_code,
            )

    assert asyncio.run(work()) == (200, 401, 200)


def test_exposed_without_an_account_it_does_not_start(deps: Deps, tmp_path: Path) -> None:
    from service.web.exposure import Exposure

    place = Exposure("0.0.0.0", frozenset({"bench.local"}), tls=True)
    with pytest.raises(InputError, match="no account"):
        application(deps, tmp_path, exposure=place)
    assert replace(place, host="127.0.0.1")
