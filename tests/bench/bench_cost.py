"""Ratios of costing: 1,000 builds x 40 lines x 5 listings against numpy and one SQL query.

The numpy minimum has every array at hand and computes the same amounts, rates and half-up
cents in int64: the cheapest of five listings a part, share and spending of each line, sums
a build. Run: `python tests/bench/bench_cost.py`. Prints ratios measured in this one run.
"""

from __future__ import annotations

import random
import sqlite3
import subprocess  # starts this interpreter
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from scrapers import Amount
from service.builds.all_costs import AllCosts, price_all
from service.builds.cost import price_build
from service.builds.view import PriceView
from service.model.builds import Build, Line
from service.model.catalogue import Listing, Part, Supplier, Supply
from service.model.money import Rate, Rates
from service.model.prices import Offer, PriceNow

BUILDS, LINES, PARTS, EACH = 1000, 40, 2000, 5
NOW = datetime(2026, 11, 24, tzinfo=UTC)
D = Decimal


def world(rng: random.Random) -> tuple[list[Build], PriceView]:
    parts = {f"p{k}": Part(f"p{k}", f"p{k}", "m") for k in range(PARTS)}
    listings, prices = [], {}
    for key in parts:
        for slot in range(EACH):
            number = len(listings) + 1
            supply = Supply(key, Amount(D(rng.choice(["1", "2", "2.5", "5"])), "m"))
            listings.append(Listing(f"s{slot}/{key}", f"s{slot}", (supply,), id=number))
            offer = Offer(D(rng.randint(100, 9999)) / 100, rng.choice(["EUR", "USD", "GBP"]))
            prices[number] = PriceNow(number, offer, NOW - timedelta(hours=1))
    builds = [
        Build(
            f"b{k}", f"b{k}", "EUR", tuple(_line(rng, rng.randrange(PARTS)) for _ in range(LINES))
        )
        for k in range(BUILDS)
    ]
    suppliers = {f"s{k}": Supplier(f"s{k}", f"s{k}") for k in range(EACH)}
    day = date(2026, 11, 23)
    rates = Rates({"USD": Rate(D("1.1721"), day), "GBP": Rate(D("0.8726"), day)})
    return builds, PriceView(NOW, parts, suppliers, listings, prices, rates)


def _line(rng: random.Random, part: int) -> Line:
    return Line(Amount(D(rng.randint(1, 3000)) / 1000, "m"), part=f"p{part}")


def timed(work: Callable[[], object], times: int = 15) -> float:
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return median(found) * 1000


def minimum(costs: AllCosts) -> Callable[[], tuple[np.ndarray, np.ndarray]]:
    """The least that numpy has to do for the same figures, arrays ready.

    Raw page prices and rates go in; five candidates a part, two roundings a line.
    """
    bulk = costs.arrays[0]
    price = np.array([[float(s.offer.price) for s in row] for row in bulk._slots])
    rate = np.array([[float(s.factor) for s in row] for row in bulk._slots])
    content = np.array([[float(s.content) for s in row] for row in bulk._slots])
    order = np.argsort(bulk._build, kind="stable")
    part, starts = bulk._part[order], np.searchsorted(bulk._build[order], np.arange(BUILDS))
    use = np.ascontiguousarray(bulk._counts[:, : len(order)][:, order].T)
    buy = np.ascontiguousarray(bulk._counts[:, len(order) :][:, order].T)
    lines, rows = np.arange(len(part)), np.arange(len(price))

    def run() -> tuple[np.ndarray, np.ndarray]:
        money = price * rate
        best = (money / content).argmin(axis=1)
        column, paid = best[part], money[rows, best][part]
        share = np.floor(use[lines, column] * paid + 0.5).astype(np.int64)
        spend = np.floor(buy[lines, column] * paid + 0.5).astype(np.int64)
        return np.add.reduceat(share, starts), np.add.reduceat(spend, starts)

    return run


def sql(costs: AllCosts) -> Callable[[], list[tuple[int, int]]]:
    """The same shares as one query: rates and amounts joined, rounded, summed."""
    bulk, book = costs.arrays[0], sqlite3.connect(":memory:")
    book.executescript(
        "create table listing (id integer primary key, part integer, price integer, content real,"
        " currency text); create index of_part on listing (part);"
        "create table line (build integer, part integer, need real);"
        "create table rate (currency text primary key, value real);"
    )
    for number, slots in enumerate(bulk._slots):
        for slot in slots:
            offer = costs.prices[slot.listing.id].offer
            row = (
                slot.listing.id,
                number,
                int(offer.price * 10_000),
                float(slot.content),
                offer.currency,
            )
            book.execute("insert into listing values (?,?,?,?,?)", row)
    rates = {"EUR": 1.0} | {c: 1 / float(r.value) for c, r in costs.view.rates.by_currency.items()}
    book.executemany("insert into rate values (?,?)", rates.items())
    needs = [float(row.need) for row in bulk._rows]
    rows = zip(bulk._build.tolist(), bulk._part.tolist(), needs, strict=True)
    book.executemany("insert into line values (?,?,?)", rows)
    query = (
        "select build, sum(cast(best * need * 100 + 0.5 as integer)) from (select l.build, l.need,"
        " min(p.price / 10000.0 * r.value / p.content) as best from line l join listing p on"
        " p.part = l.part join rate r on r.currency = p.currency group by l.rowid) group by build"
    )
    return lambda: book.execute(query).fetchall()


def one_change(costs: AllCosts, rng: random.Random, times: int = 2000) -> tuple[float, float]:
    """Milliseconds a change: of listings at random, and of listings that count in a line."""
    bulk = costs.arrays[0]
    ids = [s.listing.id for slots in bulk._slots for s in slots]
    winners = [bulk._slots[p][int(bulk._best[p])].listing.id for p in range(len(bulk._slots))]
    found = []
    for pool in (ids, winners):
        picked = [rng.choice(pool) for _ in range(times)]
        news = [
            PriceNow(k, Offer(D(rng.randint(100, 9999)) / 100, costs.prices[k].offer.currency), NOW)
            for k in picked
        ]
        found.append(median(_change_all(costs, news[k : k + 50]) for k in range(0, times, 50)))
    return found[0], found[1]


def _change_all(costs: AllCosts, news: list[PriceNow]) -> float:
    start = time.perf_counter()
    for now in news:
        costs.change(now)
    return (time.perf_counter() - start) / len(news) * 1000


def cold(code: str, times: int = 9) -> float:
    root = str(Path(__file__).parents[2])
    return timed(lambda: subprocess.run([sys.executable, "-c", code], cwd=root, check=True), times)


COLD = """
from datetime import datetime, timezone
from decimal import Decimal as D
from scrapers import Amount
from service.builds.cost import price_build
from service.builds.cost_json import cost_to_json
from service.builds.view import PriceView
from service.model.builds import Build, Line
from service.model.catalogue import Listing, Part, Supply
from service.model.prices import Offer, PriceNow
now = datetime(2026, 11, 24, tzinfo=timezone.utc)
parts = {f"p{k}": Part(f"p{k}", f"part {k}", "m") for k in range(40)}
entries = [Listing(f"s{j}/p{k}", f"s{j}", (Supply(f"p{k}", Amount(D(1 + j), "m")),), id=5 * k + j + 1)
           for k in range(40) for j in range(5)]
prices = {x.id: PriceNow(x.id, Offer(D(x.id), "EUR"), now) for x in entries}
lines = tuple(Line(Amount(D("0.7"), "m"), part=f"p{k}") for k in range(40))
cost_to_json(price_build(Build("b", "b", "EUR", lines), PriceView(now, parts, {}, entries, prices)))
"""


def main() -> None:
    rng = random.Random(7)
    builds, view = world(rng)
    start = time.perf_counter()
    costs = price_all(builds, view)
    print(f"first time, everything worked out: {time.perf_counter() - start:.2f} s")
    bulk = costs.arrays[0]
    least = minimum(costs)
    share, spend = least()
    off = np.abs(np.concatenate([share, spend]) - bulk.total).sum()
    print(f"cents that the minimum rounds wrongly, where an exact half is no float: {off}")
    assert off < len(bulk.cents) / 1000
    checked = rng.sample(builds, 5)
    for build in checked:
        assert price_build(build, view).totals.share * 100 == costs.totals()[build.key].share
    full, numpy_ms = timed(bulk.reprice, 41), timed(least, 41)
    query = timed(sql(costs), 5)
    anywhere, winner = one_change(costs, rng)
    print(
        f"all builds {full:.3f} ms, numpy minimum {numpy_ms:.3f} ms: {full / numpy_ms:.2f} x (at most 2)"
    )
    print(f"one SQL query {query:.1f} ms: {query / full:.0f} x (at least 40)")
    print(
        f"one listing {anywhere * 1000:.1f} us: 1/{full / anywhere:.0f}; one that counts "
        f"{winner * 1000:.1f} us: 1/{full / winner:.0f} (at most 1/50)"
    )
    fresh = timed(lambda: price_build(builds[0], replace(view)), 5)
    again = timed(lambda: price_build(builds[0], view), 5)
    print(f"one build of 40 lines in full: {fresh:.1f} ms, from a view used before: {again:.1f} ms")
    base, mine = cold("import sqlalchemy"), cold(COLD)
    print(
        f"cold reprice of 40 lines {mine:.0f} ms, import sqlalchemy {base:.0f} ms: {mine / base:.2f} x (at most 2)"
    )


if __name__ == "__main__":
    main()
