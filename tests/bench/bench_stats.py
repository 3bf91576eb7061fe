"""Ratios of our statistics to bare numpy on the same spells, measured in one run.

    python tests/bench/bench_stats.py [--listings 10000] [--years 5]

1. One listing: its spells of five years out of SQLite and their statistics, against a bare
   `select` of them and numpy. Goal: at most 3 x.
2. All listings: as of a time, minimum over 30 days, time-weighted median over 90 days, against
   plain numpy on the same ready arrays (goal: at most 3 x), pandas and DuckDB where installed.
"""

from __future__ import annotations

import argparse
import sqlite3
import sys
import time
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from service.prices.stats import PriceStats, describe
from service.prices.track import DAY_US, from_us, to_us
from service.store.columns import Columns
from service.store.rows import spells_of

if TYPE_CHECKING:
    from collections.abc import Callable

NOW = to_us(datetime(2026, 11, 20, 12, tzinfo=UTC))
POLL = DAY_US // 4
FRESH = 2 * DAY_US


def milliseconds(question: Callable[[], Any], rounds: int = 15) -> float:
    """Best time of a call, after two to warm up: what else runs on the machine only adds."""
    question(), question()
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        question()
        times.append(time.perf_counter() - begin)
    return 1000 * min(times)


def make_columns(listings: int, years: float, seed: int = 7) -> Columns:
    """Spells of 21 days on average, four polls a day, a sale or a new price at each change."""
    rng = np.random.default_rng(seed)
    count = rng.poisson(years * 365 / 21, listings) + 1
    owner = np.repeat(np.arange(listings), count)
    begin = NOW - int(years * 365) * DAY_US
    drawn = rng.integers(0, int(years * 365 * 4), len(owner)) * POLL + begin
    order = np.lexsort((drawn, owner))
    first, owner = drawn[order], owner[order]
    keep = np.append(True, (np.diff(first) > 0) | (np.diff(owner) > 0))
    first, owner = first[keep], owner[keep]
    last = np.append(first[1:], NOW + POLL) - POLL
    ends = np.append(owner[1:] != owner[:-1], True)
    last[ends] = NOW
    price = np.round(
        rng.uniform(5, 200, listings)[owner] * rng.choice([1, 0.8, 0.9, 1.1], len(owner)), 2
    )
    none = np.zeros(0, dtype=np.int64)
    return Columns(
        listing=owner,
        first=first,
        last=last,
        price=(price * 10_000).round().astype(np.int64),
        currency=np.zeros_like(owner),
        names=["EUR"],
        fresh=np.full(listings, FRESH),
        gaps=(none, none, none),
    )


def store_in(columns: Columns) -> sqlite3.Connection:
    db = sqlite3.connect(":memory:")
    db.execute(
        "create table spell (listing int, first_seen int, last_seen int, polls int, pause int, "
        "price int, currency text, list_price int, availability int, tax int, origin int, "
        "primary key (listing, first_seen)) without rowid"
    )
    arrays = (columns.listing, columns.first, columns.last, columns.price)
    rows = zip(*(array.tolist() for array in arrays), strict=True)
    db.executemany("insert into spell values (?, ?, ?, 40, 21600, ?, 'EUR', null, 0, 0, 0)", rows)
    return db


SELECT = "select listing, first_seen, last_seen, polls, pause, price, currency, list_price, availability, tax, origin from spell where listing = ? order by first_seen"


def bare(db: sqlite3.Connection, listing: int) -> dict[str, float]:
    """The limit: a select and numpy."""
    rows = db.execute(SELECT, (listing,)).fetchall()
    first, last, price = (np.array([row[i] for row in rows]) for i in (1, 2, 5))
    end = np.append(first[1:], NOW)
    answer: dict[str, float] = {"now": price[-1], "low": price.min(), "high": price.max()}
    for days in (30, 90, 365):
        answer[f"low_{days}"] = price[last >= NOW - days * DAY_US].min()
    weight = np.clip(end - np.maximum(first, NOW - 90 * DAY_US), 0, None)
    order = np.argsort(price)
    reached = np.cumsum(weight[order])
    answer["median_90"] = price[order][np.searchsorted(reached, reached[-1] / 2)]
    year = np.clip(end - np.maximum(first, NOW - 365 * DAY_US), 0, None)
    answer["percentile"] = 100 * year[price < price[-1]].sum() / year.sum()
    answer["changes"] = np.count_nonzero(np.diff(price)) * 30 * DAY_US / (end - first).sum()
    before = np.flatnonzero(price[:-1] <= price[-1])
    answer["since"] = (NOW - last[before[-1]]) / DAY_US if len(before) else np.nan
    return answer


def ours(db: sqlite3.Connection, listing: int) -> PriceStats:
    """As the price log answers: spells of the rows, then their statistics."""
    rows = db.execute(SELECT, (listing,)).fetchall()
    return describe(spells_of(rows), at=from_us(NOW))


def one_listing(columns: Columns) -> None:
    db = store_in(columns)
    picked = range(0, len(columns.listings), max(1, len(columns.listings) // 50))
    for listing in picked:
        stats, limit = ours(db, listing), bare(db, listing)
        found = (stats.now, stats.low_90d, stats.median_90d)
        assert [int((price or 0) * 10_000) for price in found] == [
            limit["now"],
            limit["low_90"],
            limit["median_90"],
        ]
        assert abs((stats.percentile or 0) - limit["percentile"]) < 1e-6

    def run(question: Callable[[sqlite3.Connection, int], Any]) -> None:
        for n in picked:
            question(db, n)

    limit_ms, took = milliseconds(partial(run, bare)), milliseconds(partial(run, ours))
    print(
        f"one listing, {len(columns.price) / len(columns.listings):.0f} spells: "
        f"{1000 * took / len(picked):.0f} us, {took / limit_ms:.2f} x bare select + numpy "
        f"({1000 * limit_ms / len(picked):.0f} us)"
    )


class Ready(NamedTuple):
    """The same spells as plain arrays; `until`: when the next begins, or never."""

    listing: Any
    price: Any
    first: Any
    until: Any


def ready(columns: Columns) -> Ready:
    until = np.append(columns.first[1:], NOW)
    until[columns.end] = np.iinfo(np.int64).max
    return Ready(columns.listing, columns.price, columns.first, until)


def plain_as_of(spells: Ready, at: int) -> Any:
    row = np.flatnonzero((spells.first <= at) & (spells.until > at))
    return spells.price[row]


def plain_minimum(spells: Ready, days: int, at: int) -> Any:
    inside = (spells.until >= at - days * DAY_US) & (spells.first <= at)
    listing, price = spells.listing[inside], spells.price[inside]
    starts = np.flatnonzero(np.append(True, np.diff(listing) > 0))
    return np.minimum.reduceat(price, starts)


def plain_median(spells: Ready, days: int, at: int) -> Any:
    since = at - days * DAY_US
    end = np.minimum(spells.until, at)
    inside = np.flatnonzero((end > since) & (spells.first <= at))
    weight = end[inside] - np.maximum(spells.first[inside], since)
    order = np.lexsort((spells.price[inside], spells.listing[inside]))
    listing, price, weight = (
        spells.listing[inside][order],
        spells.price[inside][order],
        weight[order],
    )
    starts = np.flatnonzero(np.append(True, np.diff(listing) > 0))
    reached = np.cumsum(weight)
    before = reached[starts] - weight[starts]
    total = np.add.reduceat(weight, starts)
    return price[np.searchsorted(reached, before + total / 2)]


def all_listings(columns: Columns) -> None:
    past = NOW - 400 * DAY_US
    plain = ready(columns)
    questions = {
        "as of now": (
            lambda: columns.as_of(NOW)[0],
            lambda: plain_as_of(plain, NOW),
        ),
        "as of a past day": (
            lambda: columns.as_of(past)[0],
            lambda: plain_as_of(plain, past),
        ),
        "minimum of 30 days": (
            lambda: columns.lowest(NOW - 30 * DAY_US, NOW),
            lambda: plain_minimum(plain, 30, NOW),
        ),
        "weighted median of 90 days": (
            lambda: columns.median(NOW - 90 * DAY_US, NOW),
            lambda: plain_median(plain, 90, NOW),
        ),
    }
    for name, (ours, bare_numpy) in questions.items():
        known = ours()
        assert name == "as of a past day" or np.array_equal(known, bare_numpy()), name
        took, limit = milliseconds(ours), milliseconds(bare_numpy)
        print(
            f"{name}, {len(columns.listings)} listings: {took:.2f} ms, {took / limit:.2f} x plain numpy ({limit:.2f} ms)"
        )
    peers(columns)


def peers(columns: Columns) -> None:
    """The same minimum and median by pandas and DuckDB on the same spells in memory."""
    try:
        import pandas as pd
    except ImportError:
        print("pandas is not installed: not compared")
        return
    frame = pd.DataFrame(
        {
            "listing": columns.listing,
            "price": columns.price,
            "first": columns.first,
            "end": np.minimum(ready(columns).until, NOW),
            "last": columns.last,
        }
    )

    def minimum() -> Any:
        return frame[frame["end"] >= NOW - 30 * DAY_US].groupby("listing")["price"].min()

    took, ours = (
        milliseconds(minimum, 5),
        milliseconds(partial(columns.lowest, NOW - 30 * DAY_US, NOW)),
    )
    print(f"minimum of 30 days: pandas {took:.2f} ms, ours {ours / took:.2f} x of it")

    def median() -> Any:
        since = NOW - 90 * DAY_US
        window = frame[frame["end"] > since].copy()
        window["weight"] = window["end"] - window["first"].clip(lower=since)
        window = window.sort_values(["listing", "price"])
        groups = window.groupby("listing")["weight"]
        return (
            window[groups.cumsum() * 2 >= groups.transform("sum")]
            .groupby("listing")["price"]
            .first()
        )

    assert np.array_equal(median().to_numpy(), columns.median(NOW - 90 * DAY_US, NOW))
    ours = milliseconds(partial(columns.median, NOW - 90 * DAY_US, NOW))
    took = milliseconds(median, 5)
    print(f"weighted median of 90 days: pandas {took:.2f} ms, ours {ours / took:.2f} x of it")


DUCK_MINIMUM = 'select listing, min(price) p from spell where "end" >= $since group by 1 order by 1'
DUCK_MEDIAN = """
    with held as (
        select listing, price, "end" - greatest(first, $since) w from spell where "end" > $since
    ), summed as (
        select listing, price,
               sum(w) over (partition by listing order by price) reached,
               sum(w) over (partition by listing) total
        from held
    )
    select listing, min(price) p from summed where reached * 2 >= total group by 1 order by 1
"""


def duck(columns: Columns) -> None:
    """The same by DuckDB on a table in memory, one thread."""
    try:
        import duckdb
        import pandas as pd
    except ImportError:
        print("DuckDB is not installed: not compared")
        return
    frame = pd.DataFrame(
        {name: getattr(columns, name) for name in ("listing", "price", "first", "last")}
    )
    frame["end"] = np.minimum(ready(columns).until, NOW)
    db = duckdb.connect()
    db.execute("set threads = 1")
    db.execute("create table spell as select * from frame")
    kernels = {
        "minimum of 30 days": (DUCK_MINIMUM, 30, columns.lowest),
        "weighted median of 90 days": (DUCK_MEDIAN, 90, columns.median),
    }
    for name, (query, days, kernel) in kernels.items():
        ask = partial(duck_answer, db, query, NOW - days * DAY_US)
        assert np.array_equal(ask(), kernel(NOW - days * DAY_US, NOW)), name
        took, ours = milliseconds(ask, 5), milliseconds(partial(kernel, NOW - days * DAY_US, NOW))
        print(f"{name}: DuckDB {took:.2f} ms, ours {ours / took:.2f} x of it")


def duck_answer(db: Any, query: str, since: int) -> Any:
    return db.execute(query, {"since": since}).fetchnumpy()["p"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--listings", type=int, default=10_000)
    parser.add_argument("--years", type=float, default=5)
    asked = parser.parse_args()
    columns = make_columns(asked.listings, asked.years)
    one_listing(make_columns(200, asked.years))
    all_listings(columns)
    duck(columns)


if __name__ == "__main__":
    main()
