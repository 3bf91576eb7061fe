"""The load run: 1,000 loopback hosts, 50,000 listings, faults mixed in, politeness judged.

    python tests/bench/bench_polite.py [--visits 20000] [--hosts 1000] [--listings 50]

Times are scaled: a gap of 0.2 s stands for 10 s, back-off and deadline likewise.
The poll is the service's own (lanes, leases, store, reading, committing); the
verdict comes from the servers' log alone. `--visits 100000` is the long run.
"Requests alone" are the visits of one tick at the same gaps and Retry-After, with
robots.txt, by the same fetcher: what of the CPU is left over read, decided and kept.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import resource
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from typing import TYPE_CHECKING, Self

from polite_server import BUSY, PORT, Plan, address_of, serve, verdict

from scrapers import (
    Amount,
    Backoff,
    Fetcher,
    Limits,
    Page,
    Policy,
    VisitRequest,
    read_page,
)
from scrapers.pace import next_allowed
from service.flows import lanes, poll
from service.flows.owner import owner_name
from service.flows.ports import Deps, HostState
from service.model.book import Book
from service.model.catalogue import Listing, Part, Supplier, Supply
from service.store.database import SqlStore, open_store

if TYPE_CHECKING:
    from collections.abc import Sequence

SCALED = Backoff(unreachable=0.4, throttled=0.4, barred=0.4, longest=2.0)
LIMITS = Limits(deadline=2.0, connect=1.0, first_byte=1.5)
PRIVATE = 7  # each host's listing of this number is barred by its robots.txt


def now() -> datetime:
    return datetime.now(UTC)


def name_of(host: int) -> str:
    return f"h{host:04}.example"


async def resolve(name: str, _port: int) -> Sequence[str]:
    """Names of the run and nothing else."""
    return [address_of(int(name[1:5]))]


def url_of(host: int, listing: int) -> str:
    folder = "private" if listing == PRIVATE else "p"
    return f"http://{name_of(host)}:{PORT}/{folder}/{listing}"


def book_of(plan: Plan, listings: int) -> Book:
    part = Part("part", "Part", "piece")
    supply = (Supply("part", Amount(Decimal(1), "piece")),)
    gap = timedelta(seconds=plan.gap)
    suppliers = tuple(Supplier(f"s{h}", f"Shop {h}", min_gap=gap) for h in range(plan.hosts))
    sold = tuple(
        Listing(url_of(h, n), f"s{h}", supply, url=url_of(h, n), every=timedelta(minutes=2))
        for h in range(plan.hosts)
        for n in range(listings)
    )
    return Book(suppliers=suppliers, parts=(part,), listings=sold)


def fetcher_of(plan: Plan) -> Fetcher:
    allowed = frozenset(name_of(host) for host in range(plan.hosts))
    return Fetcher(
        user_agent="Ebbmark/0.1 (+mailto:someone@club.example)",
        policy=Policy(allow_hosts=allowed),
        clock=now,
        limits=LIMITS,
        resolver=resolve,
    )


class Counting:
    """The fetcher, with the visits counted by outcome."""

    def __init__(self, fetcher: Fetcher, enough: int) -> None:
        self._fetcher = fetcher
        self._enough = enough
        self.reached = asyncio.Event()
        self.outcomes: Counter[str] = Counter()

    async def visit(self, request: VisitRequest):
        visited = await self._fetcher.visit(request)
        self.outcomes[visited.outcome.value] += 1
        if self.outcomes.total() >= self._enough:
            self.reached.set()
        return visited

    async def aclose(self) -> None:
        await self._fetcher.aclose()


async def poll_until(deps: Deps, counting: Counting, lanes_: int) -> None:
    """Ticks, as the schedule makes them, until enough visits are made; the last one is cut."""
    enough = asyncio.create_task(counting.reached.wait())
    while not enough.done():
        tick = asyncio.create_task(poll.poll_due(deps, workers=lanes_))
        await asyncio.wait({tick, enough}, return_when=asyncio.FIRST_COMPLETED)
        if tick.done():
            tick.result()
            await asyncio.sleep(0.2)
        else:
            tick.cancel()
            await asyncio.gather(tick, return_exceptions=True)


async def bare(plan: Plan, visits: int, lanes_: int) -> float:
    """CPU seconds a visit of the same requests, at the same gaps, not read and not kept."""
    fetcher, slots = fetcher_of(plan), asyncio.Semaphore(lanes_)
    gap = timedelta(seconds=plan.gap)

    async def lane(host: int) -> None:
        state = HostState(name_of(host))
        for listing in range(50):
            await asyncio.sleep(lanes.pause_before(state, now()))
            async with slots:
                request = VisitRequest(url_of(host, listing), robots=state.robots)
                seen = await fetcher.visit(request)
            state = lanes.after_visit(state, seen, gap)

    start = time.process_time()
    async with asyncio.TaskGroup() as group:
        for host in range(visits // 50):
            group.create_task(lane(host))
    await fetcher.aclose()
    return (time.process_time() - start) / visits


def peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@dataclass(frozen=True)
class Run:
    """What one run left behind. CPU and wall time in seconds, memory in MiB."""

    counting: Counting
    rows: list[tuple[int, str, float, float, int, int]]
    seconds: float
    cpu: float
    memory: float
    database: Path


class Servers:
    """The shops in a process of their own; the log is read when they stop."""

    def __init__(self, plan: Plan, log: Path) -> None:
        self.plan, self.log = plan, log
        self._pipe, theirs = multiprocessing.Pipe()
        context = multiprocessing.get_context("spawn")
        self._process = context.Process(target=serve, args=(plan, theirs, log))

    def __enter__(self) -> Self:
        self._process.start()
        self._pipe.recv()
        return self

    def __exit__(self, *_: object) -> None:
        self._pipe.send("stop")
        self._pipe.recv()
        self._process.join(20)
        if self._process.is_alive():
            self._process.kill()

    def rows(self) -> list[tuple[int, str, float, float, int, int]]:
        return [tuple(json.loads(line)) for line in self.log.read_text().splitlines()]


def deps_of(store: SqlStore, counting: Counting, plan: Plan) -> Deps:
    loopback = frozenset(name_of(host) for host in range(plan.hosts))
    return Deps(store, counting, {}, now, owner_name(), loopback_hosts=loopback)


def run(plan: Plan, listings: int, visits: int, lanes_: int, folder: Path) -> Run:
    """Poll until enough visits are made, in a database and with servers of its own."""
    store = open_store(f"sqlite:///{folder / 'polite.db'}")
    with store.write() as unit:
        unit.catalogue.save(book_of(plan, listings), now=now())
    read_page(Page("http://h/", b"<p>1 EUR", None, now()))  # what is loaded once is not counted
    with Servers(plan, folder / "log.jsonl") as servers:
        counting = Counting(fetcher_of(plan), visits)
        began, cpu = time.monotonic(), time.process_time()
        asyncio.run(poll_until(deps_of(store, counting, plan), counting, lanes_))
        seconds, cpu = time.monotonic() - began, time.process_time() - cpu
        memory = peak_mib()
    return Run(counting, servers.rows(), seconds, cpu, memory, folder / "polite.db")


def beside_the_busy(lanes_: int) -> float:
    """Visits of the other hosts with one overloaded host among them, over those without."""
    made = []
    for busy in (False, True):
        plan = Plan(hosts=100, busy=busy)
        with tempfile.TemporaryDirectory() as folder:
            rows = run(plan, 30, 1500, lanes_, Path(folder)).rows
        others = [row for row in rows if row[0] != BUSY]
        span = max(row[3] for row in others) - min(row[2] for row in others)
        made.append(len(others) / span)
    return made[1] / made[0]


def main() -> int:
    """Print the figures; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, default=20_000)
    parser.add_argument("--hosts", type=int, default=1000)
    parser.add_argument("--listings", type=int, default=50)
    parser.add_argument("--lanes", type=int, default=150)
    args = parser.parse_args()
    plan = Plan(hosts=args.hosts)
    lanes.next_allowed = partial(next_allowed, backoff=SCALED)
    lanes.DAILY_CAP = 10**9  # of real days; this run packs weeks into minutes
    with tempfile.TemporaryDirectory(prefix="polite-") as name:
        folder = Path(name)
        full = run(plan, args.listings, args.visits, args.lanes, folder)
        with Servers(plan, folder / "bare.jsonl"):
            alone = asyncio.run(bare(plan, min(10_000, args.visits), args.lanes))
        size = full.database.stat().st_size
    made = verdict(full.rows, plan)
    done = full.counting.outcomes.total()
    more = full.cpu / done - alone
    beside = beside_the_busy(args.lanes)
    print(f"visits {done} to {args.hosts} hosts, {args.hosts * args.listings} listings, "
          f"in {full.seconds:.0f} s: {done / full.seconds * 60:.0f} a minute")  # fmt: skip
    print(f"outcomes {dict(full.counting.outcomes)}")
    print(f"violations: in flight {made.in_flight}, gap {made.gap}, Retry-After {made.retry_after}, "
          f"robots {made.robots} (requests in the servers' log: {made.requests})")  # fmt: skip
    print(f"smallest gap / gap due         {made.smallest:8.3f}  (goal: at least 1)")
    print(f"CPU ms a visit: requests alone {alone * 1000:8.2f}, reading and committing "
          f"{more * 1000:.2f}: {more / alone:.2f} times (goal: at most 3)")  # fmt: skip
    print(f"peak resident memory, MiB      {full.memory:8.0f}  (goal: at most 250)")
    print(f"other hosts beside a busy one  {beside:8.2f} of their pace without it")
    print(f"database bytes a visit         {size / done:8.0f}")
    good = not made.violations and more <= 3 * alone and full.memory <= 250 and beside > 0.9
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
