"""A new price of a component concerns the builds that use the mixture (plain reference check)."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from service.exchange.catalogue import book_from_document, parse_toml
from service.store.database import open_store

if TYPE_CHECKING:
    from pathlib import Path

BOOK = """
[supplier.tarnside]
name = "Tarnside Composites"
[part.mixed]
name = "Resin, mixed"
unit = "g"
mix = "100:42"
mix_of = ["epoxy", "hardener"]
equivalent = [{ part = "hardener", note = "an odd book names it twice" }]
[part.epoxy]
name = "Epoxy"
unit = "g"
listing = [{ supplier = "tarnside", url = "https://tarnside.example/a", sold_as = "1 kg" }]
[part.hardener]
name = "Hardener"
unit = "g"
listing = [{ supplier = "tarnside", url = "https://tarnside.example/b", sold_as = "420 g" }]
[part.motor]
name = "Motor"
listing = [{ supplier = "tarnside", url = "https://tarnside.example/m", sold_as = "1 piece" }]
[build.hull]
name = "Hull"
currency = "EUR"
lines = [{ part = "mixed", amount = "90 g" }]
[build.other]
name = "Other"
currency = "EUR"
lines = [{ part = "motor", amount = "1 piece" }]
"""


def test_builds_using_a_component(tmp_path: Path) -> None:
    book = book_from_document(parse_toml(BOOK, "x.toml"), "x.toml", None)
    store = open_store(f"sqlite:///{tmp_path / 'book.db'}")
    with store.write() as unit:
        unit.catalogue.save(book, now=datetime(2026, 11, 24, tzinfo=UTC))
    with store.read() as unit:
        ids = {entry.key[-1]: entry.id for entry in unit.catalogue.listings()}
        using = {
            page: [build.key for build in unit.catalogue.builds_using([number])]
            for page, number in ids.items()
        }
        kept = unit.catalogue.parts()["mixed"]
    store.close()
    assert kept == next(part for part in book.parts if part.key == "mixed")
    assert using == {"a": ["hull"], "b": ["hull"], "m": ["other"]}
