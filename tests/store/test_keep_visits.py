"""How long the outcomes of single visits are kept is a setting; prices stay for good."""

from __future__ import annotations

import asyncio
import tomllib
from dataclasses import replace
from pathlib import Path

from book_kit import CATALOGUE, MOTOR, kit
from shop_page import product_page

from service.exchange.catalogue import book_from_document
from service.flows import edit
from service.flows.poll import poll_these
from service.flows.upkeep import upkeep
from service.model.book import Book
from service.settings import load_settings
from service.store.database import SqlStore


def test_what_is_older_than_the_setting_goes(store: SqlStore, tmp_path: Path) -> None:
    with kit(tmp_path, catalogue="") as made:
        days = load_settings({"EBBMARK_KEEP_VISITS_DAYS": "25"}).keep_visits_days
        deps = replace(made.deps, store=store, keep_visits_days=days)
        edit.load_book(deps, book_from_document(tomllib.loads(CATALOGUE), "book.toml", Book()))
        made.fetcher.pages = {MOTOR: product_page("35.00")}
        with store.read() as unit:
            listing = next(x.id for x in unit.catalogue.listings() if x.key == MOTOR)
        for _ in range(4):
            asyncio.run(poll_these(deps, [listing]))
            made.clock.pass_(hours=24 * 10)
        # the visits are now 40, 30, 20 and 10 days old
        assert asyncio.run(upkeep(deps)).pruned == 2
        with store.read() as unit:
            assert len(unit.polls.visits(listing)) == 2
            spells = unit.log.spells([listing])
        assert sum(spell.polls for spell in spells) == 4
        assert asyncio.run(upkeep(deps)).pruned == 0
