"""A small book on a real SQLite file, with fakes for everything outside."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fakes import FakeFetcher, FixedClock, RecordingChannel

from scrapers import Policy
from service.exchange.catalogue import book_from_document
from service.flows import edit
from service.flows.ports import Deps
from service.model.book import Book
from service.store.database import open_store

MOTOR = "https://motors.example/m"
CELLS = "https://cells.example/b"
CATALOGUE = f"""
[supplier.motors]
name = "Invented Motors"
home = "https://motors.example/"
country = "NL"
currency = "EUR"
[supplier.cells]
name = "Invented Cells"
home = "https://cells.example/"
country = "NL"
currency = "EUR"
[part.motor]
name = "Outrunner"
unit = "piece"
listing = [{{ supplier = "motors", url = "{MOTOR}", sold_as = "1 piece" }}]
[part.battery]
name = "Battery"
unit = "piece"
listing = [{{ supplier = "cells", url = "{CELLS}", sold_as = "2 pieces" }}]
[part.glue]
name = "Glue"
unit = "g"
[build.racer]
name = "Racer"
currency = "EUR"
lines = [
  {{ part = "motor", amount = "1 piece", group = "drive" }},
  {{ part = "battery", amount = "1 piece", group = "drive" }},
]
[[target]]
part = "motor"
at_or_below = "30.00 EUR"
[[target]]
build = "racer"
at_or_below = "45.00 EUR"
"""


@dataclass
class Kit:
    deps: Deps
    clock: FixedClock
    fetcher: FakeFetcher
    channel: RecordingChannel

    def ids(self) -> dict[str, int]:
        with self.deps.store.read() as unit:
            return {entry.key: entry.id for entry in unit.catalogue.listings()}


@contextmanager
def kit(path: Path, catalogue: str = CATALOGUE, *, owner: str = "test:0:0") -> Iterator[Kit]:
    clock = FixedClock()
    fetcher = FakeFetcher(clock)
    channel = RecordingChannel()
    hosts = frozenset({"motors.example", "cells.example"})
    store = open_store(f"sqlite:///{path / 'book.db'}")
    deps = Deps(
        store=store,
        fetcher=fetcher,
        channels={"log": channel},
        clock=clock,
        owner=owner,
        loopback_hosts=hosts,
        contact="me@club.example",
        extra={"policy": Policy()},
    )
    try:
        if catalogue:
            book = book_from_document(tomllib.loads(catalogue), "book.toml", Book())
            edit.load_book(deps, book)
        yield Kit(deps, clock, fetcher, channel)
    finally:
        store.close()
