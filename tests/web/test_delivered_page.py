"""What a build costs delivered, on its page and behind each line; sums by hand."""

from __future__ import annotations

import asyncio
import re
from typing import TYPE_CHECKING

import pytest
from web_kit import application, client, desk

from service.exchange.catalogue import book_from_document, parse_toml
from service.flows import edit

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from service.flows.ports import Deps

MORE = """
[build.wing]
name = "Wing"
currency = "EUR"
destination = "NL"
lines = [{ part = "balsa-2", amount = "0.2 m2" }, { part = "esc", amount = "1 piece" }]
"""


@pytest.fixture
def deps(tmp_path: Path) -> Iterator[Deps]:
    with desk(tmp_path) as found:
        known = edit.known_book(found)
        edit.load_book(found, book_from_document(parse_toml(MORE, "more"), "more", known))
        yield found


def page(deps: Deps, folder: Path, path: str) -> str:
    async def run() -> str:
        async with client(application(deps, folder), headers={"accept": "text/html"}) as browser:
            return (await browser.get(path)).text

    return re.sub(r"\s+", " ", asyncio.run(run()))


def test_the_order_stands_beside_the_build_with_its_charges(deps: Deps, tmp_path: Path) -> None:
    text = page(deps, tmp_path, "/builds/wing")
    goods = re.search(
        r"Quillfeather Models<br><span class=\"soft\">([0-9.]+) \+ shipping 4.95", text
    )
    total = re.search(r"<dt>Delivered</dt><dd>([0-9.]+)</dd>", text)
    assert goods
    assert total
    assert round(float(total[1]) - float(goods[1]), 2) == 4.95
    assert "with its part of what the order costs beside its goods" in text


def test_what_is_not_known_is_said_with_what_to_add(deps: Deps, tmp_path: Path) -> None:
    text = page(deps, tmp_path, "/builds/curlew")
    assert '<dt>Delivered</dt><dd class="soft">not known</dd>' in text
    assert "no shipping from Dunnock Drives to" in text
