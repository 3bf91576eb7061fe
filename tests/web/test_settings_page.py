"""Settings on the page: kept in the book, the file goes over them, at once in force.

Order of precedence (environment over file over what is kept): common practice.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from web_kit import application, client, desk, token_of

from service.flows.prefs import applied

if TYPE_CHECKING:
    from pathlib import Path

OWN = {
    "currency": "gbp",
    "destination": "AT",
    "time_zone": "Europe/Vienna",
    "quiet_from": "22:00",
    "quiet_to": "07:00",
}


def posted(app: Any, data: dict[str, str], path: str = "/settings/own") -> tuple[int, str]:
    async def work() -> tuple[int, str]:
        async with client(app, headers={"accept": "text/html"}) as browser:
            token = await token_of(browser)
            answer = await browser.post(path, data={**data, "token": token})
            return answer.status_code, (await browser.get("/settings")).text + answer.text

    return asyncio.run(work())


def test_what_is_chosen_counts_at_once_and_stays(tmp_path: Path) -> None:
    with desk(tmp_path) as deps:
        app = application(deps, tmp_path)
        code, page = posted(app, OWN)
        assert code == 303
        assert 'value="Europe/Vienna"' in page
        assert '<option value="AT" selected>Austria' in page
        now = app.state.deps
        assert (now.currency, now.destination, str(now.quiet_hours)) == ("GBP", "AT", "22:00-07:00")
        again = applied(deps)  # as after a restart
        assert (again.currency, again.time_zone) == ("GBP", "Europe/Vienna")


def test_quiet_hours_are_taken_away_again(tmp_path: Path) -> None:
    with desk(tmp_path) as deps:
        app = application(deps, tmp_path)
        posted(app, OWN)
        posted(app, {"quiet_from": "", "quiet_to": ""})
        assert app.state.deps.quiet_hours is None
        assert app.state.deps.destination == "AT"


def test_what_the_file_fixes_is_shown_so_and_is_not_changed(tmp_path: Path) -> None:
    with desk(tmp_path) as plain:
        deps = replace(plain, extra={**plain.extra, "fixed": {"currency": "/home/me/a.toml"}})
        app = application(deps, tmp_path)
        code, page = posted(app, {"currency": "USD"})
        assert code == 422
        assert "fixed by" in page
        assert "/home/me/a.toml" not in page.partition("<!doctype html>")[0]
        assert app.state.deps.currency == "EUR"


def test_bad_input_says_what_to_do(tmp_path: Path) -> None:
    with desk(tmp_path) as deps:
        app = application(deps, tmp_path)
        for bad in ({"currency": "zzz"}, {"destination": "Austria"}, {"time_zone": "Vienna"}):
            assert posted(app, bad)[0] == 422, bad
        assert posted(app, {"quiet_from": "22:00", "quiet_to": ""})[0] == 422
        assert applied(deps).currency == "EUR"
