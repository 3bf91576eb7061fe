"""What a user changes on the pages, and that it stands in the book afterwards.

Sums by hand beside each; units of trade as in common practice.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import NOW, application, client, desk, token_of

from scrapers import parse_amount
from service.exchange.catalogue.wishes import target_key
from service.flows import ask
from service.model.book import Book
from service.model.builds import Build, Replacement

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import httpx

    from service.flows.ports import Deps


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path) as found:
        yield found


@pytest.fixture
def app(deps: Deps, tmp_path: Path) -> Any:
    return application(deps, tmp_path)


def post(app: Any, path: str, files: Any = None, **form: str) -> httpx.Response:
    async def run() -> httpx.Response:
        async with client(app, headers={"accept": "text/html"}) as browser:
            token = await token_of(browser)
            return await browser.post(path, data={**form, "token": token}, files=files)

    return asyncio.run(run())


def get(app: Any, path: str) -> httpx.Response:
    async def run() -> httpx.Response:
        async with client(app, headers={"accept": "text/html"}) as browser:
            return await browser.get(path)

    return asyncio.run(run())


def lines(deps: Deps, build: str = "curlew") -> list[tuple[str, str, str]]:
    with deps.store.read() as unit:
        found = unit.catalogue.build(build)
    assert found is not None
    return [
        (str(x.part), f"{x.amount.value.normalize():f} {x.amount.unit}", x.group)
        for x in found.lines
    ]


def test_a_build_is_begun_and_changed(app: Any, deps: Deps) -> None:
    answer = post(app, "/builds", name="Heron 3 m", budget="500,50", need_by="2027-05-01")
    assert answer.headers["location"] == "/builds/heron-3-m"
    post(app, "/builds/heron-3-m", name="Heron, 3 m", budget="", need_by="")
    row = next(b for b in ask.builds(deps) if b["build"] == "heron-3-m")
    assert (row["name"], row["budget"], row["need_by"]) == ("Heron, 3 m", None, None)


@pytest.mark.parametrize(
    ("form", "word"),
    [
        ({"name": " "}, "name"),
        ({"name": "x", "currency": "XXQ"}, "currency"),
        ({"name": "x", "budget": "much"}, "budget"),
        ({"name": "x", "budget": "-5"}, "budget"),
        ({"name": "x", "need_by": "soon"}, "day"),
    ],
)
def test_bad_input_says_what_to_write(app: Any, form: dict[str, str], word: str) -> None:
    answer = post(app, "/builds", **form)
    assert answer.status_code == 422
    assert word in answer.text


def test_lines_are_added_by_name_changed_moved_and_removed(app: Any, deps: Deps) -> None:
    post(app, "/builds/curlew/lines", part="carbon spar 8 MM", amount="0,5", group="tail")
    assert lines(deps)[-1] == ("spar", "0.5 m", "tail")
    post(
        app, "/builds/curlew/lines/7", act="keep", amount="750 mm", group="fuselage", counts="whole"
    )
    assert lines(deps)[-1] == ("spar", "750 mm", "fuselage")
    first = lines(deps)[0]
    post(app, "/builds/curlew/lines/0", act="down")
    assert lines(deps)[1] == first
    post(app, "/builds/curlew/lines/1", act="up")
    assert lines(deps)[0] == first
    post(app, "/builds/curlew/lines/7", act="remove")
    assert len(lines(deps)) == 7
    assert post(app, "/builds/curlew/lines/7", act="remove").status_code == 404
    assert post(app, "/builds/curlew/lines", part="unobtainium", amount="1").status_code == 404
    assert post(app, "/builds/curlew/lines", part="spar", amount="2 kg of").status_code == 422


def test_a_move_passes_lines_of_its_own_group_only(app: Any, deps: Deps) -> None:
    """resin is the last of the structure: down changes nothing, since the drive is below."""
    before = lines(deps)
    post(app, "/builds/curlew/lines/2", act="down")
    assert lines(deps) == before


ROWS = "Balsa sheet 2 mm\t0.1 m2\tstructure\nRudder horn\t2 pieces\ttail\n"


def test_rows_are_shown_before_they_are_kept(app: Any, deps: Deps) -> None:
    before = lines(deps)
    seen = post(app, "/builds/curlew/rows", table=ROWS)
    assert seen.status_code == 200
    assert "Rudder horn" in seen.text
    assert lines(deps) == before
    action = seen.text.partition('action="/builds/curlew/rows/')[2].partition('"')[0]
    assert post(app, f"/builds/curlew/rows/{action}").status_code == 303
    added = lines(deps)[len(before) :]
    assert added[0] == ("balsa-2", "0.1 m2", "structure")
    assert added[1][1:] == ("2 piece", "tail")


def test_rows_come_as_a_file_too_and_faults_are_named(app: Any, deps: Deps) -> None:
    file = {
        "file": ("parts.csv", b"part;amount;group\nspar;1,5 m;wing\nspar;lots;wing\n", "text/csv")
    }
    seen = post(app, "/builds/curlew/rows", files=file)
    assert "lots" in seen.text
    assert "Add them to the build" not in seen.text


def test_a_target_on_a_part_opens_a_deal_at_once(app: Any, deps: Deps) -> None:
    """41.90 now: a target of 42 is met, one of 41 is not."""
    post(app, "/parts/battery-4s/target", value="41")
    assert ask.deals(deps, only_open=True) == []
    post(app, "/parts/battery-4s/target", value="42,00")
    deals = ask.deals(deps, only_open=True)
    assert [(d["subject"], d["price"], d["condition"]) for d in deals] == [
        ("battery-4s", "41.90", "at or below 42.00 EUR")
    ]
    assert "41.90" in get(app, "/deals").text


def test_targets_have_the_keys_of_catalogue_files(app: Any, deps: Deps) -> None:
    """A target set on a page and one from a file are the same target."""
    post(app, "/parts/battery-4s/target", value="40")
    post(app, "/parts/resin/target", value="60")
    post(app, "/builds/curlew/target", value="180")
    post(app, "/kinds/batteries/target", value="35", cells="4")
    with deps.store.read() as unit:
        targets = unit.catalogue.targets()
    assert len(targets) == 4
    assert all(target.key == target_key(target) for target in targets)
    resin = next(t for t in targets if t.subject == "resin")
    assert (str(resin.unit_at_or_below), resin.per) == ("60.00 EUR", "kg")


def test_a_purchase_is_on_hand(app: Any) -> None:
    post(
        app,
        "/workshop/buy",
        part="motor",
        count="2",
        total="80.00 EUR",
        supplier="dunnock",
        on="2026-11-01",
    )
    text = get(app, "/workshop").text
    assert "Outrunner 900 KV" in text
    assert "80.00" in text
    assert post(app, "/workshop/buy", part="motor", total="many EUR").status_code == 422
    assert post(app, "/workshop/buy", part="motor", total="1.00 EUR", count="x").status_code == 422


def test_a_held_price_is_accepted_or_rejected(app: Any, deps: Deps) -> None:
    url = "https://harrow.example/battery"
    assert (
        post(app, "/listings/accept", listing=url, next="/parts/battery-4s")
        .headers["location"]
        .startswith("/parts/battery-4s")
    )
    row = next(x for x in ask.listings(deps) if x["listing"] == url)
    assert (row["price"], row["doubtful"]) == ("3.74", None)
    assert post(app, "/listings/reject", listing=url).status_code == 422


def test_a_hint_is_dismissed_once_and_for_all(app: Any, deps: Deps) -> None:
    from service.flows import views

    rules = [c["rule"] for c in views.build_sheet(deps, "curlew")["companions"]]
    assert rules
    post(app, "/builds/curlew/dismiss", rule=rules[0])
    assert [c["rule"] for c in views.build_sheet(deps, "curlew")["companions"]] == rules[1:]


def test_a_version_stands_beside_its_build(app: Any, deps: Deps) -> None:
    answer = post(app, "/builds/curlew/versions", name="Curlew, slow", old="motor", new="esc")
    assert answer.headers["location"] == "/builds/curlew-slow/versions"
    text = get(app, "/builds/curlew/versions").text
    # motor 44.83 out, second controller 39.90 in: 186.64 - 44.83 + 39.90 = 181.71
    assert "181.71" in text
    assert "186.64" in text


def test_a_version_with_less_of_a_part_says_how_much(app: Any, deps: Deps) -> None:
    spar = Replacement("spar", None, parse_amount("1.5 m"))
    slim = Build("slim", "Slim", "EUR", base="curlew", replace=(spar,))
    with deps.store.write() as unit:
        unit.catalogue.save(Book(builds=(slim,)), now=NOW)
    text = get(app, "/builds/curlew/versions").text
    assert "Carbon spar 8 mm, 1.5 m" in text
    assert "→ nothing" not in text


def test_a_price_by_hand_counts(app: Any, deps: Deps) -> None:
    post(app, "/parts/propeller/price", price="12.40 EUR", supplier="dunnock", on="2026-11-24")
    found = ask.reprice(deps, "curlew")
    assert found["totals"]["complete"] is True
    assert found["totals"]["share"] == "199.04"  # 186.64 + 12.40


def test_the_cost_can_be_taken_away_in_every_form(app: Any) -> None:
    marks = {
        "csv": b'"group",',
        "xlsx": b"PK",
        "md": b"| ",
        "bbcode": b"[table]",
        "svg": b"<svg",
        "png": b"\x89PNG",
    }
    for form, mark in marks.items():
        answer = get(app, f"/builds/curlew/cost.{form}")
        assert answer.status_code == 200
        assert mark in answer.content[:4000]
        assert answer.headers["content-disposition"] == f'attachment; filename="curlew-cost.{form}"'
    assert get(app, "/builds/curlew/cost.exe").status_code == 422


def test_suppliers_show_only_where_the_publisher_says_so(app: Any) -> None:
    assert "Quillfeather" not in get(app, "/builds/curlew/publish").text
    assert "Quillfeather" not in get(app, "/builds/curlew/cost.csv").text
    assert "Quillfeather" in get(app, "/builds/curlew/cost.csv?suppliers=1").text
