"""Text from shops is text: hostile titles on every page, formulas in every file.

Vectors after the OWASP Cross-Site Scripting Prevention cheat sheet and the OWASP page on CSV
injection; the set of the project's security study is read where it lies beside the repository.
"""

from __future__ import annotations

import asyncio
import csv
import io
import json
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from web_kit import NOW, application, client, desk

from scrapers import Amount
from service.flows import ask
from service.flows.ports import Doubt
from service.model.book import Book
from service.model.builds import Build, Line
from service.model.catalogue import Listing, Part, Supplier, Supply
from service.model.deals import Deal, DealState
from service.model.money import Money
from service.model.prices import Observation, Offer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from service.flows.ports import Deps

SHARED = Path(__file__).parents[2].parent / "shared" / "checks"
FEW = [  # from the OWASP cheat sheet; the full set is read below
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'><svg/onload=alert(1)>",
    "</title></script></textarea><script>alert(1)</script>",
    "{{7*7}} ${7*7} {% raw %}",
    "javascript:alert(1)",
    "&lt;script&gt;alert(1)&lt;/script&gt;",
]


def titles() -> list[str]:
    file = SHARED / "xss_titles.jsonl"
    if not file.is_file():
        return FEW
    rows = [json.loads(line) for line in file.read_text("utf-8").splitlines() if line]
    return [str(row["title"]) for row in rows]


class Elements(HTMLParser):
    """What elements a page has, with the names of their attributes, and all its text."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, tuple[str, ...]]] = []
        self.links: list[str] = []
        self.text: list[str] = []
        self.scripts = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, tuple(name for name, _ in attrs)))
        self.links += [
            value or "" for name, value in attrs if name in ("href", "src", "action", "formaction")
        ]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def parsed(page: str) -> Elements:
    found = Elements()
    found.feed(page)
    return found


def store_hostile(deps: Deps, text: str) -> None:
    """A book in which every text that can come from outside is this one."""
    name = text.replace("\0", "")
    with deps.store.write() as unit:
        shop = Supplier("shop", name, home="https://shop.example/", contact_note=name, country="NL")
        part = Part(
            "part",
            name,
            "piece",
            {"plug": name, "cells": "4", "capacity_mAh": "3300"},
            ("lithium",),
        )
        listing = Listing(
            "https://shop.example/p", "shop", (Supply("part", _one()),), "https://shop.example/p"
        )
        build = Build("build", name, "EUR", (Line(_one(), name[:60] or "x", "part", note=name),))
        unit.catalogue.save(Book((shop,), (part,), (listing,), (build,)), now=NOW)
        saved = unit.catalogue.listing("https://shop.example/p")
        assert saved is not None
        if not unit.log.spells([saved.id]):
            ages = [(timedelta(days=9), 20), (timedelta(hours=1), 10)]
            unit.log.record(
                [Observation(saved.id, NOW - age, Offer(Decimal(p), "EUR")) for age, p in ages]
            )
        state = unit.polls.states([saved.id])[saved.id]
        evidence = ({"reader": name, "field": "price", "value": name, "where": name},)
        unit.polls.save_states(
            [replace(state, last_outcome="barred", last_reason=name, evidence=evidence)]
        )
        unit.log.keep_doubt(
            Doubt(saved.id, NOW, name, {"price": "1.00", "currency": "EUR", "title": name})
        )
        unit.deals.put(
            Deal(
                "d",
                "t",
                "part",
                "part",
                DealState.OPEN,
                NOW,
                Money(Decimal(10), "EUR"),
                saved.key,
                evidence=evidence,
            )
        )


def _one() -> Amount:
    return Amount(Decimal(1), "piece")


PAGES = [
    "/",
    "/builds",
    "/builds/build",
    "/builds/build/versions",
    "/builds/build/publish?suppliers=1&notes=1",
]
PAGES += [
    "/parts",
    "/parts/part",
    "/kinds/batteries",
    "/deals",
    "/suppliers",
    "/suppliers/shop",
    "/workshop",
    "/add",
    "/settings",
]


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Deps, Any]]:
    folder = tmp_path_factory.mktemp("hostile")
    with desk(folder, filled=False) as deps:
        yield deps, application(deps, folder)


def seen(book: tuple[Deps, Any], text: str) -> dict[str, Elements]:
    deps, app = book
    store_hostile(deps, text)

    async def work() -> dict[str, Elements]:
        async with client(app, headers={"accept": "text/html"}) as browser:
            found = {}
            for path in PAGES:
                answer = await browser.get(path)
                assert answer.status_code == 200, (path, answer.text[:300])
                found[path] = parsed(answer.text)
            looked = await browser.get("/add", params={"url": text, "text": text})
            if looked.status_code == 200:  # else it was too long, and the error says so
                found["/add?"] = parsed(looked.text)
            return found

    return asyncio.run(work())


def shape(found: Elements) -> list[tuple[str, tuple[str, ...]]]:
    """Elements apart from those that stand once for each row or word."""
    return sorted(set(found.found))


@pytest.fixture(scope="module")
def tame(book: tuple[Deps, Any]) -> dict[str, list[Any]]:
    return {path: shape(found) for path, found in seen(book, "A plain motor").items()}


@pytest.mark.parametrize("title", titles())
def test_a_title_brings_no_element_and_reads_as_written(
    title: str, tame: dict[str, list[Any]], book: tuple[Deps, Any]
) -> None:
    for path, found in seen(book, title).items():
        assert set(shape(found)) <= set(tame[path]), path
        assert not [
            x for x in found.links if not x.startswith(("/", "#", "?", "https://shop.example/"))
        ], path
        if path == "/parts/part" and title.isprintable() and len(title) < 180:
            words = " ".join(" ".join(found.text).split())
            assert " ".join(title.split()) in words


@pytest.mark.parametrize("title", titles())
def test_the_feed_holds_it_as_text(title: str, book: tuple[Deps, Any]) -> None:
    """RFC 4287; what XML 1.0 cannot hold at all becomes a replacement character."""
    from defusedxml.ElementTree import fromstring

    deps, app = book
    store_hostile(deps, title)

    async def work() -> bytes:
        async with client(app) as browser:
            return (await browser.get("/deals.atom")).content

    feed = fromstring(asyncio.run(work()))
    atom = "{http://www.w3.org/2005/Atom}"
    tags = {element.tag.removeprefix(atom) for element in feed.iter()}
    assert tags <= {
        "feed",
        "id",
        "title",
        "updated",
        "published",
        "link",
        "author",
        "name",
        "entry",
        "summary",
    }
    found = feed.find(f"{atom}entry/{atom}title").text
    if title.isprintable():
        assert found == f"{title}: 10.00 EUR"


@pytest.mark.parametrize("title", titles())
def test_a_mail_says_it_as_text(title: str) -> None:
    """RFC 5322: no header of its own, one plain part (RFC 2046), the words as they came."""
    from email import message_from_bytes, policy

    from service.channels.mail import message
    from service.model.deals import Target
    from service.notices import compose

    price = Money(Decimal(10), "EUR")
    evidence = ({"reader": "visible", "field": "price", "value": title, "where": title},)
    deal = Deal("d", "t", "part", "part", DealState.OPEN, NOW, price, title, evidence=evidence)
    target = Target("t", "part", "part", at_or_below=price)
    notice = compose(deal, target, channel="mail", tell="opened", name=title, at=NOW)
    options = {"sender": "a@mail.example", "to": "b@mail.example", "host": "smtp.mail.example"}
    plain = message(replace(notice, subject="x", text="x"), options)
    sent = message_from_bytes(bytes(message(notice, options)), policy=policy.default)
    assert sorted(sent.keys()) == sorted(plain.keys())
    assert sent.get_content_type() == "text/plain"
    assert not sent.is_multipart()
    assert sent["To"] == "b@mail.example"
    if title.isprintable():
        assert " ".join(title.split()) in " ".join(sent.get_content().split())


def formulas() -> list[str]:
    file = SHARED / "csv_formula_vectors.csv"
    if not file.is_file():
        return [
            "=1+1",
            "+cmd|' /C calc'!A0",
            "-2+3",
            "@SUM(1+1)",
            "\t=1+1",
            '=HYPERLINK("http://evil.example","x")',
        ]
    rows = csv.reader(io.StringIO(file.read_text("utf-8").partition("\n")[2]))
    found = []
    for row in rows:
        raw = row[1].replace('\\""', '\\"')
        try:
            found.append(json.loads(raw))
        except ValueError:
            found.append(raw)
    return found


@pytest.mark.parametrize("text", formulas())
def test_formulas_are_inert_in_the_csv(text: str, book: tuple[Deps, Any]) -> None:
    """No cell of the file begins with a sign that a spreadsheet takes for a formula."""
    deps, app = book
    store_hostile(deps, text)

    async def work() -> str:
        async with client(app) as browser:
            return (await browser.get("/builds/build/cost.csv?suppliers=1&notes=1")).text

    cells = [cell for row in csv.reader(io.StringIO(asyncio.run(work()))) for cell in row]
    triggers = ("=", "+", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")
    bad = [c for c in cells if c.lstrip(" \u00a0\ufeff\u200b\0").startswith(triggers)]
    bad += [c for c in cells if c.startswith("-") and not c[1:].replace(".", "").isdigit()]
    assert not bad
    assert ask.builds(deps)
