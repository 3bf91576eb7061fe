"""A plate bought whole and hinges in pairs on the pages and in the API. Sums by hand.

Common practice: who needs one piece buys the plate that costs least, not the one that costs
least a square metre; hinges are counted in pairs.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from plates_book import BOOK
from web_kit import application, client, desk

from service.flows import edit
from service.flows.buying import Bought, buy
from service.flows.ports import Doubt
from service.model.deals import Deal, DealState
from service.model.money import parse_money

if TYPE_CHECKING:
    from pathlib import Path


def test_pages_and_api_show_the_same(tmp_path: Path) -> None:
    with desk(tmp_path, catalogue=BOOK) as deps:
        for part, price, shop, sold_as in (
            ("ply", "20.00 EUR", "dunnock", "1 m2"),
            ("ply", "9.00 EUR", "pipit", "0.25 m2"),
            ("hinge", "4.00 EUR", "dunnock", "4 pairs"),
        ):
            edit.book_price(deps, part, parse_money(price), shop, sold_as=sold_as)
        buy(deps, "hinge", Decimal(1), parse_money("2.00 EUR"), Bought(sold_as="2 pairs"))
        app = application(deps, tmp_path)

        async def seen() -> tuple[str, str, str, Any]:
            async with client(app, headers={"accept": "text/html"}) as browser:
                pages = [
                    (await browser.get(path)).text for path in ("/", "/builds/wren", "/workshop")
                ]
                found = (await browser.get("/api/builds/wren/reprice")).json()
                return (*pages, found)

        today, page, shelf, found = asyncio.run(seen())
        assert (found["totals"]["share"], found["totals"]["to_spend"]) == ("12.00", "13.00")
        assert "12.00" in today
        assert "Pipit Wood" in page
        assert "counted as whole = 9.00" in page
        assert "2\u00a0pairs" in shelf
        assert "\u00a0pieces" not in shelf


def test_a_page_that_is_doubted_is_named_beside_its_open_deal(tmp_path: Path) -> None:
    """Glossary, "deal": met by a price that can be trusted, here the last one that was."""
    with desk(tmp_path) as deps:
        with deps.store.write() as unit:
            listing = unit.catalogue.listing("https://quillfeather.example/p/4s-3300")
            target = next(t for t in unit.catalogue.targets() if t.subject == "battery-4s")
            assert listing is not None
            deal = Deal("one", target.key, "part", "battery-4s", DealState.OPEN, deps.clock())
            unit.deals.put(replace(deal, value=parse_money("37.00 EUR"), listing=listing.key))
            said = {"price": "370.00", "currency": "EUR"}
            unit.log.keep_doubt(Doubt(listing.id, deps.clock(), "ten times the price", said))
        app = application(deps, tmp_path)

        async def seen() -> list[str]:
            async with client(app, headers={"accept": "text/html"}) as browser:
                return [(await browser.get(path)).text for path in ("/", "/deals")]

        for page in asyncio.run(seen()):
            assert "370.00 held back" in page
        assert "ten times the price" in page
