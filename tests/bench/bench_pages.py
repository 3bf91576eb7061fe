"""Pages with 2,000 listings and a million readings, idle and while the prices are written.

Prints the p95 of each page on an idle service, the same while batches of results are
recorded all the time, and the ratio (at most 5 is wanted). Run: python tests/bench/bench_pages.py
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import threading
import time
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import httpx  # noqa: E402  behind the path of the helpers, as all below
from browser_kit import served  # noqa: E402
from web_kit import NOW, application, desk  # noqa: E402

from scrapers import Amount  # noqa: E402
from service.model.book import Book  # noqa: E402
from service.model.builds import Build, Line  # noqa: E402
from service.model.catalogue import Listing, Part, Supplier, Supply  # noqa: E402
from service.model.prices import Observation, Offer  # noqa: E402

SHOPS, PER_SHOP, POLLS, BUILDS, LINES = 50, 40, 500, 30, 25
PAGES = [
    "/",
    "/builds",
    "/builds/build-3",
    "/parts",
    "/parts/part-7",
    "/suppliers",
    "/suppliers/shop-3",
]
PAGES += ["/deals", "/workshop", "/kinds/batteries", "/api/builds", "/api/listings"]


def book() -> Book:
    one = Amount(Decimal(1), "piece")
    shops = tuple(
        Supplier(f"shop-{n}", f"Shop {n}", f"https://shop-{n}.example/", "NL", "EUR")
        for n in range(SHOPS)
    )
    count = SHOPS * PER_SHOP // 4
    spec = {"cells": "4", "capacity_mAh": "3300"}
    parts = tuple(
        Part(f"part-{n}", f"Part {n}", "piece", spec if n % 9 == 0 else {}) for n in range(count)
    )
    listings = tuple(
        Listing(url, f"shop-{n % SHOPS}", (Supply(f"part-{n % count}", one),), url)
        for n in range(SHOPS * PER_SHOP)
        for url in [f"https://shop-{n % SHOPS}.example/p/{n}"]
    )
    rng = random.Random(7)
    builds = tuple(
        Build(
            f"build-{b}",
            f"Build {b}",
            "EUR",
            tuple(Line(one, "drive", p.key) for p in rng.sample(parts, LINES)),
        )
        for b in range(BUILDS)
    )
    return Book(shops, parts, listings, builds)


def fill(deps: Any, polls: int) -> list[int]:
    with deps.store.write() as unit:
        unit.catalogue.save(book(), now=NOW)
        ids = [listing.id for listing in unit.catalogue.listings()]
    rng = random.Random(3)
    prices = {i: Decimal(rng.randint(300, 9000)) / 100 for i in ids}
    for poll in range(polls):
        at = NOW - timedelta(hours=6) * (polls - poll)
        for i in rng.sample(ids, len(ids) // 100):
            prices[i] = Decimal(rng.randint(300, 9000)) / 100
        with deps.store.write() as unit:
            unit.log.record([Observation(i, at, Offer(prices[i], "EUR")) for i in ids])
    return ids


def measure(address: str, rounds: int) -> dict[str, float]:
    """p95 in ms by page."""
    found: dict[str, list[float]] = {path: [] for path in PAGES}
    with httpx.Client(base_url=address, timeout=60, headers={"accept": "text/html"}) as browser:
        for _ in range(rounds):
            for path in PAGES:
                begun = time.perf_counter()
                answer = browser.get(path)
                assert answer.status_code == 200, (path, answer.text[:300])
                found[path].append((time.perf_counter() - begun) * 1000)
    return {path: statistics.quantiles(times, n=20)[-1] for path, times in found.items()}


def keep_writing(deps: Any, ids: list[int], stop: threading.Event) -> None:
    """As a polling service would: a batch of 50 results every 50 ms."""
    rng, at = random.Random(5), NOW
    while not stop.is_set():
        at += timedelta(seconds=1)
        chosen = rng.sample(ids, 50)
        with deps.store.write() as unit:
            unit.log.record(
                [
                    Observation(i, at, Offer(Decimal(rng.randint(300, 9000)) / 100, "EUR"))
                    for i in chosen
                ]
            )
        stop.wait(0.05)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--rounds", type=int, default=20)
    options.add_argument("--polls", type=int, default=POLLS)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as name, desk(Path(name), filled=False) as deps:
        begun = time.perf_counter()
        ids = fill(deps, chosen.polls)
        print(
            f"{len(ids)} listings, {len(ids) * chosen.polls} readings in {time.perf_counter() - begun:.0f} s"
        )
        with served(application(deps, Path(name))) as address:
            measure(address, 2)
            idle = measure(address, chosen.rounds)
            stop = threading.Event()
            writer = threading.Thread(target=keep_writing, args=(deps, ids, stop), daemon=True)
            writer.start()
            busy = measure(address, chosen.rounds)
            stop.set()
            writer.join(10)
    for path in PAGES:
        print(
            f"{path:24} idle {idle[path]:7.0f} ms  busy {busy[path]:7.0f} ms  ratio {busy[path] / idle[path]:.2f}"
        )
    print(
        f"worst ratio {max(busy[p] / idle[p] for p in PAGES):.2f} (5 wanted), worst p95 {max(busy.values()):.0f} ms"
    )


if __name__ == "__main__":
    main()
