"""The price log against plain ways of keeping prices: ratios, all measured in one run.

    python tests/bench/bench_log.py [--listings 10000] [--days 365] [--rounds 12]

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
from contextlib import closing, contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random

import numpy as np
from sqlalchemy import text

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from log_history import POLL, fill, history
from log_history import START as FIRST

from scrapers import Amount, Availability, Tax
from service.flows.ports import ListingState
from service.model.book import Book
from service.model.catalogue import Listing, Part, Supplier, Supply
from service.model.deals import Notice
from service.model.prices import Observation, Offer
from service.store import record as recording
from service.store import tables
from service.store.bulk import insert_many
from service.store.database import SqlStore, open_store
from service.store.rows import SPELL, seen_row

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


STEPS: dict[int, int] = {}  # what each price has been moved by so far


def cycle(listings: int, at: datetime, rand: Random, changed: float = 1 / 84) -> list[Observation]:
    """One reading a listing within a minute; a price holds 21 days on average (84 polls)."""
    result = []
    for number in range(1, listings + 1):
        if rand.random() < changed:
            STEPS[number] = STEPS.get(number, 0) + 11 * rand.randrange(1, 50)
        moment = at + timedelta(seconds=rand.random() * 60)
        result.append(Observation(number, moment, offer(number + STEPS.get(number, 0))))
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


def ready_rows(store: SqlStore, observations: list[Observation]) -> Callable[[], None]:
    """The same with the values already as they are stored, as the plain ways have them."""
    known = store._known
    rows, rest = recording.still(known, observations)
    others = [seen_row(seen) for seen in rest]

    def write() -> None:
        with store.write() as unit:
            assert recording.extend(unit.conn, rows) == len(rows) // 3
            recording.settle(unit.conn, known, others)
            recording.bump(unit.conn)

    return write


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
        third = cycle(listings, at + EVERY * 1.5, rand)
        rows = raw(first)
        states = next_states(store, listings, at)
        ways: list[tuple[str, Callable[[], object]]] = [
            ("plain", lambda rows=rows: append(plain, rows)),
            ("plain from observations", lambda first=first: append(plain, raw(first))),
            ("record", lambda first=first: record(store, first)),
            ("batch", lambda second=second, states=states: whole_batch(store, second, states)),
            ("record ready rows", lambda: None),  # made ready only when its turn comes
            ("indexed", lambda rows=rows: append(indexed, rows)),
            ("orm", lambda first=first: write_orm(first)),
        ]
        for name, work in ways:
            once = ready_rows(store, third) if name == "record ready rows" else work
            times.setdefault(name, []).append(timed(once))
    best = {name: min(values) for name, values in times.items()}
    for name, values in times.items():
        middle, high = statistics.median(values) * 1e3, max(values) * 1e3
        print(f"  {name:<28} {best[name] * 1e3:8.1f} ms, median {middle:.1f}, worst {high:.1f}")
    plain_rows, log_rows = best["plain"], best["record ready rows"]
    figures.add("rows of a cycle in the log / plain append", log_rows / plain_rows, "<=", 2)
    figures.add(
        "  from observations / plain append of ready rows", best["record"] / plain_rows, "<=", 2
    )
    figures.add("with due times and outbox / plain append", best["batch"] / plain_rows, "<=", 5)
    figures.add("rows into an indexed table / into the log", best["indexed"] / log_rows, ">=", 15)
    figures.add(
        "mapped objects / observations into the log", best["orm"] / best["record"], ">=", 20
    )
    store.close()


def stored_log(folder: Path, args: argparse.Namespace) -> SqlStore:
    """A store whose log holds the same made-up history as the tables with one row a poll."""
    store = open_store(f"sqlite:///{folder / 'history.db'}")
    with store.write() as unit:
        unit.catalogue.save(book(args.listings), now=START)
    closed, running = [], []
    for listing in range(1, args.listings + 1):
        for first, last, cents in history(listing, args.days * 4):
            begin, end = FIRST + first * POLL, FIRST + last * POLL
            row = (listing, begin, end, last - first + 1, 21_600, cents * 100, "EUR", None, 1, 1, 0)
            closed.append(row)
        running.append((*closed.pop(), 172_800_000_000))
    with store.write() as unit:
        insert_many(unit.conn, tables.spell, SPELL, closed)
        insert_many(unit.conn, tables.running, (*SPELL, "fresh"), running)
        recording.bump(unit.conn, rebuilt=True)
    print(f"  {len(closed) + len(running)} spells of {args.listings * args.days * 4} polls")
    return store


def used(path: Path, names: tuple[str, ...]) -> int:
    """Bytes of whole pages that tables and their indexes take, once packed."""
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        conn.execute("VACUUM")
        marks = ", ".join("?" * len(names))
        query = f"SELECT sum(pgsize) FROM dbstat WHERE name IN ({marks})"
        try:
            return int(conn.execute(query, names).fetchone()[0])
        except sqlite3.OperationalError:  # built without dbstat: by what is freed without them
            whole = conn.execute("PRAGMA page_count").fetchone()[0]
            for name in names:
                if not name.startswith(("ix_", "polls_")):
                    conn.execute(f"DELETE FROM {name}")
            free = conn.execute("PRAGMA freelist_count").fetchone()[0]
            assert 0 < free <= whole
            return int(free * conn.execute("PRAGMA page_size").fetchone()[0])


def bench_bytes(folder: Path, args: argparse.Namespace, figures: Figures) -> None:
    """What the history takes on disk."""
    copy = folder / "copy.db"
    with (
        closing(sqlite3.connect(folder / "history.db")) as source,
        closing(sqlite3.connect(copy)) as to,
    ):
        source.backup(to)
    ours = used(copy, ("spell", "running", "gap", "log_version"))
    every = used(folder / "indexed.db", ("polls", "polls_listing_at"))
    print(f"  spells {ours} bytes, one row a poll with an index {every} bytes")
    figures.add("one row a poll with an index / bytes of the log", every / ours, ">=", 50)


@dataclass
class Ready:
    """The spells as arrays, with no more than a bare question needs."""

    listing: np.ndarray
    first: np.ndarray
    last: np.ndarray
    end: np.ndarray  # held until
    price: np.ndarray
    start: np.ndarray
    order: np.ndarray

    def as_of(self, at: int) -> np.ndarray:
        count = np.add.reduceat(self.first <= at, self.start, dtype=np.int64)
        return self.price[self.start + count - 1]

    def lowest(self, since: int, until: int) -> np.ndarray:
        usable = (self.first <= until) & (self.end >= since)
        return np.minimum.reduceat(np.where(usable, self.price, 2**62), self.start)

    def median(self, since: int, until: int) -> np.ndarray:
        weight = np.minimum(self.end, until) - np.maximum(self.first, since)
        total = np.cumsum(np.maximum(weight, 0)[self.order])
        before = np.append(0, total[self.start[1:] - 1])
        whole = np.append(before[1:], total[-1]) - before
        return self.price[self.order[np.searchsorted(total, before + (whole + 1) // 2)]]


def ready(store: SqlStore) -> Ready:
    with store.engine.connect() as conn:
        rows = conn.exec_driver_sql(
            "SELECT listing, first_seen, last_seen, price FROM spell UNION ALL "
            "SELECT listing, first_seen, last_seen, price FROM running ORDER BY 1, 2"
        ).all()
    listing, first, last, price = (np.array(column) for column in zip(*rows, strict=True))
    start = np.flatnonzero(np.diff(listing, prepend=-1))
    end = np.append(first[1:], 0)
    newest = np.append(start[1:], len(listing)) - 1
    end[newest] = last[newest] + 172_800_000_000
    return Ready(listing, first, last, end, price, start, np.lexsort((price, listing)))


Ask = Callable[[], np.ndarray]


def by_pandas(held: Ready, now: int, month: int, season: int) -> dict[str, Ask]:
    import pandas as pd

    frame = pd.DataFrame(
        {"listing": held.listing, "first": held.first, "end": held.end, "price": held.price}
    )

    def as_of() -> np.ndarray:
        return frame[frame["first"] <= now].groupby("listing")["price"].last().to_numpy()

    def lowest() -> np.ndarray:
        usable = frame[(frame["first"] <= now) & (frame["end"] >= month)]
        return usable.groupby("listing")["price"].min().to_numpy()

    def median() -> np.ndarray:
        held_then = frame[(frame["first"] < now) & (frame["end"] > season)]
        weight = held_then["end"].clip(upper=now) - held_then["first"].clip(lower=season)
        sub = held_then.assign(weight=weight).sort_values(["listing", "price"])
        groups = sub.groupby("listing")["weight"]
        half = (groups.transform("sum") + 1) // 2
        return sub[groups.cumsum() >= half].groupby("listing")["price"].first().to_numpy()

    return {"as of": as_of, "lowest of 30 days": lowest, "median of 90 days": median}


def by_duckdb(held: Ready, now: int, month: int, season: int) -> dict[str, Ask]:
    import duckdb
    import pandas as pd

    db = duckdb.connect()
    db.execute("SET threads = 1")
    db.register(
        "frame",
        pd.DataFrame(
            {"listing": held.listing, "first": held.first, "until": held.end, "price": held.price}
        ),
    )
    db.execute('CREATE TABLE spell AS SELECT listing, "first", until, price FROM frame')
    queries = {
        "as of": f"SELECT arg_max(price, first) p FROM spell WHERE first <= {now} GROUP BY listing ORDER BY listing",
        "lowest of 30 days": f"SELECT min(price) p FROM spell WHERE first <= {now} AND until >= {month} GROUP BY listing ORDER BY listing",
        "median of 90 days": f"""SELECT min(price) p FROM (SELECT listing, price,
            sum(w) OVER (PARTITION BY listing ORDER BY price) AS passed,
            sum(w) OVER (PARTITION BY listing) AS whole FROM (
                SELECT listing, price, least(until, {now}) - greatest(first, {season}) AS w
                FROM spell WHERE first < {now} AND until > {season}))
            WHERE 2 * passed >= whole GROUP BY listing ORDER BY listing""",
    }

    def asking(query: str) -> Ask:
        return lambda: db.execute(query).fetchnumpy()["p"]

    return {name: asking(query) for name, query in queries.items()}


def bench_questions(store: SqlStore, args: argparse.Namespace, figures: Figures) -> None:
    """Over all listings, warm; every answer equals the bare one."""
    held = ready(store)
    now = FIRST + (args.days * 4 - 1) * POLL
    month, season = now - 120 * POLL, now - 360 * POLL
    asked = now - 40 * POLL
    ways: dict[str, dict[str, Ask]] = {
        "numpy": {
            "as of": lambda: held.as_of(asked),
            "lowest of 30 days": lambda: held.lowest(month, now),
            "median of 90 days": lambda: held.median(season, now),
        },
        "ours": {
            "as of": lambda: store.columns().as_of(asked)[0],
            "lowest of 30 days": lambda: store.columns().lowest(month, now),
            "median of 90 days": lambda: store.columns().median(season, now),
        },
        "pandas": by_pandas(held, now, month, season),
    }
    ways["pandas"]["as of"] = by_pandas(held, asked, month, season)["as of"]
    try:
        ways["duckdb"] = by_duckdb(held, now, month, season)
        ways["duckdb"]["as of"] = by_duckdb(held, asked, month, season)["as of"]
    except ImportError:
        print("  DuckDB is not installed: not compared")
    for question, limit in (("as of", 3), ("lowest of 30 days", 3), ("median of 90 days", 3)):
        truth = ways["numpy"][question]()
        best = {}
        for name, asks in ways.items():
            assert np.array_equal(asks[question](), truth), (name, question)
            best[name] = min(timed(asks[question]) for _ in range(15))
        shown = ", ".join(f"{name} {value * 1e3:.2f} ms" for name, value in best.items())
        print(f"  {question}: {shown}")
        figures.add(
            f"{question}, all listings / bare numpy", best["ours"] / best["numpy"], "<=", limit
        )
        for other in ("pandas", "duckdb"):
            if other in best:
                figures.add(f"  {other} / ours", best[other] / best["ours"], ">=", 1)


def bench_one(store: SqlStore, args: argparse.Namespace, figures: Figures) -> None:
    """All spells of single listings, as values of the model."""
    picked = range(1, args.listings, max(1, args.listings // 200))

    def ours() -> None:
        with store.read() as unit:
            for listing in picked:
                unit.log.spells([listing])

    def bare() -> None:
        query = text(
            "SELECT * FROM spell WHERE listing = :one UNION ALL "
            "SELECT listing, first_seen, last_seen, polls, pause, price, currency, list_price, "
            "availability, tax, origin FROM running WHERE listing = :one"
        )
        with store.engine.connect() as conn:
            for listing in picked:
                rows = conn.execute(query, {"one": listing}).all()
                np.array([row[5] for row in rows]).min()

    ours(), bare()
    ratio = min(timed(ours) for _ in range(7)) / min(timed(bare) for _ in range(7))
    figures.add("one listing's spells / bare select with a minimum by numpy", ratio, "<=", 3)


@contextmanager
def scratch() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="ebbmark-bench-") as folder:
        yield Path(folder)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--listings", type=int, default=10_000)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--rounds", type=int, default=12)
    args = parser.parse_args()
    if args.days < 120:
        parser.error("--days: the questions look back 90 days, give at least 120")
    figures = Figures()
    with scratch() as folder:
        bench_writing(folder, args, figures)
        with stored_log(folder, args) as store:
            bench_questions(store, args, figures)
            bench_one(store, args, figures)
        bench_bytes(folder, args, figures)
    return 1 if figures.missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
