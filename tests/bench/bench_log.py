"""The price log against plain ways of keeping prices: ratios, all measured in one run.

    python tests/bench/bench_log.py [--listings 10000] [--days 90] [--rounds 7] [--postgres]

Prints a line a figure: name, ratio of the best rounds, limit, ok or MISSED. Everything lies in a
temporary folder that is removed at the end. `--days`: how much history the
tables with one row a poll hold before a cycle is inserted into them.
"""

from __future__ import annotations

import argparse
import gc
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from log_history import fill

from scrapers import Amount, Availability, Tax
from service.flows.ports import ListingState
from service.model.book import Book
from service.model.catalogue import Listing, Part, Supplier, Supply
from service.model.deals import Notice
from service.model.prices import Observation, Offer
from service.store.database import SqlStore, open_store

START = datetime(2026, 1, 1, tzinfo=UTC)
EVERY = timedelta(hours=6)


@dataclass
class Figures:
    """Ratios with their limits; `sign` is `<=` or `>=`."""

    missed: int = 0
    rows: list[str] = field(default_factory=list)

    def add(self, name: str, ratio: float, sign: str, limit: float) -> None:
        good = ratio <= limit if sign == "<=" else ratio >= limit
        self.missed += not good
        print(
            f"{name:<64} {ratio:8.2f}  {sign} {limit:g}  {'ok' if good else 'MISSED'}", flush=True
        )


def book(listings: int) -> Book:
    """So many listings over 200 suppliers, four of each part."""
    suppliers = tuple(Supplier(f"s{n}", f"Supplier {n}") for n in range(200))
    parts = tuple(Part(f"p{n}", f"Part {n}", "piece") for n in range(-(-listings // 4)))
    made = []
    for n in range(listings):
        url = f"https://s{n % 200}.example/p/{n}"
        supply = Supply(f"p{n // 4}", Amount(Decimal(1), "piece"))
        made.append(Listing(url, f"s{n % 200}", (supply,), url=url, every=EVERY))
    return Book(suppliers, parts, tuple(made))


def timed(work: Callable[[], object]) -> float:
    """Seconds of one call, garbage collected before and not meanwhile."""
    gc.collect()
    gc.disable()
    try:
        begun = time.perf_counter()
        work()
        return time.perf_counter() - begun
    finally:
        gc.enable()


def offer(number: int) -> Offer:
    return Offer(
        Decimal(500 + number % 9000) / 100, "EUR", None, Availability.IN_STOCK, Tax.INCLUDED
    )


def cycle(listings: int, at: datetime, rand: Random, changed: float = 1 / 84) -> list[Observation]:
    """One reading a listing within six hours; a price holds 21 days on average (84 polls)."""
    result = []
    for number in range(1, listings + 1):
        step = rand.randrange(1, 50) if rand.random() < changed else 0
        moment = at + timedelta(seconds=rand.random() * 60)
        result.append(Observation(number, moment, offer(number + 11 * step)))
    return result


# One row a poll, in three ways.


def connect(path: Path) -> sqlite3.Connection:
    conn = sqlite3.connect(path, isolation_level=None)
    conn.execute("PRAGMA journal_mode=WAL")
    conn.execute("PRAGMA synchronous=FULL")
    conn.execute(
        "CREATE TABLE polls (listing INTEGER, at INTEGER, price INTEGER, currency TEXT, "
        "list_price INTEGER, availability INTEGER, tax INTEGER)"
    )
    return conn


def append(conn: sqlite3.Connection, rows: list[tuple[object, ...]]) -> None:
    conn.execute("BEGIN IMMEDIATE")
    conn.executemany("INSERT INTO polls VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
    conn.execute("COMMIT")


def raw(observations: list[Observation]) -> list[tuple[object, ...]]:
    return [
        (
            o.listing,
            int(o.at.timestamp() * 1e6),
            int(o.offer.price * 10_000),
            o.offer.currency,
            None,
            1,
            1,
        )
        for o in observations
    ]


def orm_add_all(path: Path) -> Callable[[list[Observation]], None]:
    """The same rows as mapped objects, as an application would write them."""
    from sqlalchemy import (
        Column,
        DateTime,
        Index,
        Integer,
        MetaData,
        Numeric,
        String,
        Table,
        create_engine,
    )
    from sqlalchemy.orm import Session, registry

    table = Table(
        "polls",
        MetaData(),
        Column("id", Integer, primary_key=True),
        Column("listing", Integer),
        Column("at", DateTime),
        Column("price", Numeric(12, 4)),
        Column("currency", String(3)),
        Column("availability", String(12)),
        Column("tax", String(12)),
        Index("polls_listing_at", "listing", "at"),
    )

    class Poll:
        def __init__(self, **values: object) -> None:
            for name, value in values.items():
                setattr(self, name, value)

    registry().map_imperatively(Poll, table)
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as conn:
        conn.exec_driver_sql("PRAGMA journal_mode=WAL")
    table.metadata.create_all(engine)

    def write(observations: list[Observation]) -> None:
        with Session(engine) as session:
            session.add_all(
                Poll(
                    listing=o.listing,
                    at=o.at,
                    price=o.offer.price,
                    currency=o.offer.currency,
                    availability=o.offer.availability.value,
                    tax=o.offer.tax.value,
                )
                for o in observations
            )
            session.commit()

    return write


def record(store: SqlStore, observations: list[Observation]) -> None:
    with store.write() as unit:
        unit.log.record(observations)


def whole_batch(
    store: SqlStore, observations: list[Observation], states: list[ListingState]
) -> None:
    """Log, due times and a few notices in one transaction."""
    with store.write() as unit:
        unit.log.record(observations)
        unit.polls.save_states(states)
        for number in range(20):
            key = f"{observations[0].at.isoformat()}-{number}"
            notice = Notice(key, "log", "subject", "text", {"price": "1.00"}, observations[0].at)
            unit.outbox.add(notice, observations[0].at)


def next_states(store: SqlStore, listings: int, at: datetime) -> list[ListingState]:
    with store.read() as unit:
        states = unit.polls.states(range(1, listings + 1))
    return [
        replace(s, next_due_at=at + EVERY, last_visit_at=at, last_outcome="unchanged")
        for s in states.values()
    ]


def first_states(store: SqlStore, listings: int, at: datetime) -> None:
    """As after a first visit, with evidence as a page gives it."""
    evidence = tuple(
        {"reader": "jsonld", "field": name, "value": "39.90", "where": f"$.offers.{name}"}
        for name in ("price", "currency", "availability", "title")
    )
    with store.read() as unit:
        states = unit.polls.states(range(1, listings + 1))
    with store.write() as unit:
        unit.polls.save_states(
            replace(s, digest="0" * 64, verdict="ok", evidence=evidence, last_full_at=at)
            for s in states.values()
        )


def bench_writing(folder: Path, args: argparse.Namespace, figures: Figures) -> None:
    """A cycle of results, by each way, in turns."""
    listings, rand = args.listings, Random(7)
    store = open_store(f"sqlite:///{folder / 'log.db'}")
    with store.write() as unit:
        unit.catalogue.save(book(listings), now=START)
    record(store, cycle(listings, START, rand, changed=0))
    first_states(store, listings, START)
    plain = connect(folder / "plain.db")
    indexed = connect(folder / "indexed.db")
    fill(indexed, listings, args.days)
    indexed.execute("CREATE INDEX polls_listing_at ON polls (listing, at)")
    write_orm = orm_add_all(folder / "orm.db")
    times: dict[str, list[float]] = {}
    for number in range(1, args.rounds + 1):
        at = START + EVERY * 2 * number
        first, second = cycle(listings, at, rand), cycle(listings, at + EVERY, rand)
        rows = raw(first)
        states = next_states(store, listings, at)
        ways: list[tuple[str, Callable[[], object]]] = [
            ("plain", lambda rows=rows: append(plain, rows)),
            ("plain from observations", lambda first=first: append(plain, raw(first))),
            ("indexed", lambda rows=rows: append(indexed, rows)),
            ("orm", lambda first=first: write_orm(first)),
            ("record", lambda first=first: record(store, first)),
            ("batch", lambda second=second, states=states: whole_batch(store, second, states)),
        ]
        for name, work in ways:
            times.setdefault(name, []).append(timed(work))
    best = {name: min(values) for name, values in times.items()}
    for name, values in times.items():
        middle, high = statistics.median(values) * 1e3, max(values) * 1e3
        print(f"  {name:<28} {best[name] * 1e3:8.1f} ms, median {middle:.1f}, worst {high:.1f}")
    figures.add(
        "a cycle recorded / plain append of ready rows", best["record"] / best["plain"], "<=", 2
    )
    figures.add(
        "  the same from the same observations",
        best["record"] / best["plain from observations"],
        "<=",
        2,
    )
    figures.add("with due times and outbox / plain append", best["batch"] / best["plain"], "<=", 5)
    figures.add(
        "insert into an indexed table / a cycle recorded",
        best["indexed"] / best["record"],
        ">=",
        15,
    )
    figures.add("mapped objects / a cycle recorded", best["orm"] / best["record"], ">=", 20)
    store.close()


@contextmanager
def scratch() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="ebbmark-bench-") as folder:
        yield Path(folder)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--listings", type=int, default=10_000)
    parser.add_argument("--days", type=int, default=90)
    parser.add_argument("--rounds", type=int, default=7)
    args = parser.parse_args()
    figures = Figures()
    with scratch() as folder:
        bench_writing(folder, args, figures)
    return 1 if figures.missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
