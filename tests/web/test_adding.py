"""Adding a page: what was read beside the page's own words, corrected, kept; pages that bar.

The pages are invented; the price of each stands in it, so the right answer is plain.
"""

from __future__ import annotations

import asyncio
import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from shop_page import product_page
from web_kit import NOW, application, client, desk, token_of

from scrapers import Outcome, Page, Visited
from service.flows import ask, edit
from service.model.book import Book

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import httpx

    from service.flows.ports import Deps

TWO_PRICES = b"""<!doctype html><html lang=en><head><title>Servo 9 g</title></head><body><main>
<h1>Servo 9 g</h1><p class=kit>Kit with horns 14.50 EUR</p><p class=single>Single 8.90 EUR</p>
<button>Add to cart</button></main></body></html>"""


class Shop:
    """A fetcher that answers from a dict; anything else is barred."""

    def __init__(self, pages: dict[str, bytes]) -> None:
        self.pages = pages
        self.asked: list[str] = []

    async def visit(self, request: Any) -> Visited:
        self.asked.append(request.url)
        body = self.pages.get(request.url)
        if body is None:
            return Visited(
                request.url, Outcome.BARRED, NOW, reason="the shop bars programs", status=403
            )
        page = Page(request.url, body, "text/html; charset=utf-8", NOW)
        return Visited(request.url, Outcome.OK, NOW, status=200, page=page)

    async def aclose(self) -> None: ...


HOME = "https://quillfeather.example"
TITLE = "Servo 9 g metal gear"
PAGES = {
    f"{HOME}/new": product_page("8.90", title="Servo 9 g metal gear", sku="S9"),
    f"{HOME}/4s-b": product_page("39.90", title="4S LiPo battery 3300 mAh 40C", sku="B2"),
    f"{HOME}/two": TWO_PRICES,
    "https://fresh.example/x": product_page("5.00", title="Balsa sheet 1000 x 100 x 3 mm", sku="Q"),
}


@pytest.fixture
def shop() -> Shop:
    return Shop(dict(PAGES))


@pytest.fixture
def deps(tmp_path: Path, shop: Shop) -> Iterator[Deps]:
    with desk(
        tmp_path, fetcher=shop, loopback_hosts=frozenset({"quillfeather.example", "fresh.example"})
    ) as found:
        yield found


@pytest.fixture
def app(deps: Deps, tmp_path: Path) -> Any:
    return application(deps, tmp_path)


class Browser:
    """Looks at one page and keeps it, as a person would."""

    def __init__(self, app: Any) -> None:
        self.app = app

    def run(self, *steps: tuple[str, dict[str, str]]) -> list[httpx.Response]:
        async def work() -> list[httpx.Response]:
            async with client(self.app, headers={"accept": "text/html"}) as browser:
                token = await token_of(browser)
                look, found = "", []
                for path, form in steps:
                    answer = await browser.post(
                        path.replace("LOOK", look), data={**form, "token": token}
                    )
                    if path == "/add" and answer.status_code == 303:
                        look = answer.headers["location"].removeprefix("/add/")
                        answer = await browser.get(answer.headers["location"])
                    found.append(answer)
                return found

        return asyncio.run(work())


def test_a_look_keeps_nothing_and_shows_the_page_s_words(app: Any, deps: Deps, shop: Shop) -> None:
    before = len(ask.listings(deps))
    (seen,) = Browser(app).run(("/add", {"url": f"{HOME}/new"}))
    assert seen.status_code == 200
    assert "8.90" in seen.text
    assert "structured data" in seen.text
    assert len(ask.listings(deps)) == before
    assert shop.asked == [f"{HOME}/new"]


def test_right_makes_a_listing_with_its_first_price(app: Any, deps: Deps) -> None:
    keep = {
        "name": "Servo 9 g",
        "unit": "piece",
        "sold_as": "1 piece",
        "build": "curlew",
        "amount": "2",
        "group": "radio",
        "target": "9",
    }
    answers = Browser(app).run(("/add", {"url": f"{HOME}/new"}), ("/add/LOOK", keep))
    assert answers[-1].headers["location"].startswith("/builds/curlew")
    row = next(x for x in ask.listings(deps) if x["url"] == f"{HOME}/new")
    assert (row["price"], row["currency"], row["supplier"]) == ("8.90", "EUR", "quillfeather")
    assert row["outcome"] == "ok"
    line = ask.reprice(deps, "curlew")["lines"][-1]
    assert (line["part"], line["share"]) == ("servo-9-g", "17.80")
    assert [d["subject"] for d in ask.deals(deps, only_open=True)] == ["servo-9-g"]


def test_a_known_part_is_proposed_by_its_specification(app: Any, deps: Deps) -> None:
    (seen,) = Browser(app).run(("/add", {"url": f"{HOME}/4s-b"}))
    choice = re.search(r'<option value="battery-4s" selected>([^<]*)', seen.text)
    assert choice is not None
    assert "same" in choice[1]


def test_a_known_shop_is_named_and_a_part_of_the_same_name_is_chosen(app: Any, deps: Deps) -> None:
    known = Book(parts=(edit.new_part("servo-old", "Servo 9 g metal", "piece"),))
    title = Book(parts=(edit.new_part("servo", TITLE, "piece"),))
    with deps.store.write() as unit:
        unit.catalogue.save(known, now=NOW)
        unit.catalogue.save(title, now=NOW)
    (seen,) = Browser(app).run(("/add", {"url": f"{HOME}/new"}))
    assert f'<option value="servo" selected>{TITLE} (same name)' in seen.text
    assert "Quillfeather Models" in seen.text


def test_a_new_host_makes_a_supplier(app: Any, deps: Deps) -> None:
    keep = {"name": "Balsa 3 mm", "unit": "m2", "sold_as": "1000 x 100 mm"}
    answers = Browser(app).run(("/add", {"url": "https://fresh.example/x"}), ("/add/LOOK", keep))
    assert answers[-1].status_code == 303
    row = next(x for x in ask.listings(deps) if x["url"] == "https://fresh.example/x")
    assert row["supplier"] == "fresh"


def test_the_unit_is_suggested_from_how_it_is_sold(app: Any) -> None:
    (seen,) = Browser(app).run(("/add", {"url": "https://fresh.example/x"}))
    assert '<option value="m2" selected>' in seen.text


def test_the_right_number_is_tapped_and_a_rule_stays(app: Any, deps: Deps) -> None:
    browser = Browser(app)
    (seen,) = browser.run(("/add", {"url": f"{HOME}/two"}))
    rules = dict(re.findall(r'name="rule" value="((?:css|json):[^"]+)"[^>]*>([^<]+)<', seen.text))
    rule = next((r for r, text in rules.items() if "8.90" in text or "8,90" in text), None)
    assert rule is not None, rules
    rule = rule.replace("&gt;", ">").replace("&#39;", "'").replace("&amp;", "&")
    keep = {"name": "Servo", "rule": rule, "sold_as": "1 piece"}
    steps = [
        ("/add", {"url": f"{HOME}/two"}),
        ("/add/LOOK/rule", {"rule": rule}),
        ("/add/LOOK", keep),
    ]
    answers = browser.run(*steps)
    assert "8.90" in answers[1].text
    row = next(x for x in ask.listings(deps) if x["url"] == f"{HOME}/two")
    assert row["price"] == "8.90"


def test_a_refused_form_keeps_what_was_typed(app: Any) -> None:
    keep = {"name": "My servo", "sold_as": "a handful", "build": "curlew", "amount": "2"}
    answers = Browser(app).run(("/add", {"url": f"{HOME}/new"}), ("/add/LOOK", keep))
    assert answers[-1].status_code == 422
    assert 'value="My servo"' in answers[-1].text
    assert 'value="a handful"' in answers[-1].text


def test_a_barred_page_is_watched_anyway_and_dropped_later(app: Any, deps: Deps) -> None:
    url = f"{HOME}/shut"
    answers = Browser(app).run(
        ("/add", {"url": url}), ("/add/LOOK", {"name": "Shut part", "sold_as": "1 piece"})
    )
    assert "does not let the program in" in answers[0].text.lower()
    assert answers[-1].status_code == 303

    async def drop() -> int:
        async with client(app) as browser:
            token = await token_of(browser)
            form = {"listing": url, "token": token, "next": "/parts/shut-part"}
            file = {"file": ("saved.html", product_page("7.70", title="Shut part"), "text/html")}
            return (await browser.post("/listings/page", data=form, files=file)).status_code

    assert asyncio.run(drop()) == 303
    row = next(x for x in ask.listings(deps) if x["url"] == url)
    assert row["price"] == "7.70"
    with deps.store.read() as unit:
        listing = unit.catalogue.listing(url)
        assert listing is not None
        assert [s.origin for s in unit.log.spells([listing.id])] == ["page"]


def test_many_addresses_at_once_each_with_its_outcome(app: Any, shop: Shop) -> None:
    urls = "\n".join([f"{HOME}/new", f"{HOME}/shut", "ftp://old.example/x", "http://10.0.0.1/"])
    (seen,) = Browser(app).run(("/add", {"url": urls}))
    assert seen.status_code == 200
    assert seen.text.count("<tr>") == 5
    assert not [url for url in shop.asked if "10.0.0.1" in url or "ftp" in url]


@pytest.mark.parametrize(
    "url",
    [
        "http://127.0.0.2/",
        "file:///etc/passwd",
        "http://169.254.169.254/latest",
        "not an address",
        "http://[::1]/",
    ],
)
def test_addresses_that_are_no_shop_s_are_never_asked(app: Any, shop: Shop, url: str) -> None:
    """Server-side request forgery: OWASP ASVS 5.0, 1.3.6."""
    (answer,) = Browser(app).run(("/add", {"url": url}))
    assert answer.status_code == 422
    assert shop.asked == []


def test_share_and_bookmark_fill_the_form_and_wait_for_a_tap(app: Any, shop: Shop) -> None:
    async def work() -> httpx.Response:
        async with client(app, headers={"accept": "text/html"}) as browser:
            return await browser.get("/add", params={"text": f"Look: {HOME}/new"})

    answer = asyncio.run(work())
    assert f"{HOME}/new" in answer.text
    assert shop.asked == []


def test_a_look_is_forgotten_after_half_an_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    from service.errors import InputError
    from service.web import held

    now = [0.0]
    monkeypatch.setattr(held.time, "monotonic", lambda: now[0])
    kept: held.Held[str] = held.Held("too long ago")
    name = kept.put("x")
    assert kept.get(name) == "x"
    now[0] += timedelta(minutes=31).total_seconds()
    with pytest.raises(InputError, match="too long ago"):
        kept.get(name)


def test_a_shop_that_wants_to_be_left_alone_is_not_waited_for(
    app: Any, deps: Deps, shop: Shop
) -> None:
    """After a 403 a host rests for longer than a person waits; the page says so at once."""
    browser = Browser(app)
    first, second = browser.run(("/add", {"url": f"{HOME}/shut"}), ("/add", {"url": f"{HOME}/new"}))
    assert first.status_code == second.status_code == 200
    assert "left alone for" in second.text
    assert shop.asked == [f"{HOME}/shut"]


@pytest.mark.parametrize(
    ("rule", "says"),
    [("css:p.single", "8.90"), ("xpath://p", "css:"), ("re:(?=x)", "RE2"), ("css:p.nowhere", "")],
)
def test_a_rule_of_one_s_own_is_tried_at_once(app: Any, rule: str, says: str) -> None:
    steps = [("/add", {"url": f"{HOME}/two"}), ("/add/LOOK/rule", {"rule": rule})]
    answer = Browser(app).run(*steps)[-1]
    assert answer.status_code in (200, 422)
    assert says in answer.text
