"""Poll: visit what is due, host by host, and keep what was read.

`poll_due` takes what the store says is due; `poll_these` takes listings that
the user named and waits its turn on their hosts. Both send every result
through one writer, which keeps a batch in one transaction before anyone is
told of it.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from scrapers import (
    Ids,
    Outcome,
    VisitRequest,
    read_page,
    reading_to_json,
)
from service.flows import lanes
from service.flows.keep import Result, keep_batch
from service.flows.ports import Deps, Lease, ListingState
from service.flows.verdict import Seen, body_digest, repeats, site_rules, validators_to_send
from service.model.catalogue import Listing, Supplier

BATCH = 500
BATCH_WAIT = 0.25  # seconds, the longest that a result waits to be kept
IDLE = 0.02  # seconds without another result end a batch early
PATIENCE = 300.0  # seconds that a user's poll waits for its turn on a host
LONG_PAUSE = 60.0  # a tick does not sit out a longer pause; it comes again


@dataclass(frozen=True, slots=True)
class PollLine:
    """One result, told after it was kept."""

    listing: str
    outcome: Outcome
    reason: str | None
    price: str | None = None
    currency: str | None = None


@dataclass(slots=True)
class PollReport:
    """Counts of a pass. `waiting`: listings left for later, by reason."""

    hosts: set[str] = field(default_factory=set)
    outcomes: Counter[str] = field(default_factory=Counter)
    waiting: dict[str, str] = field(default_factory=dict)
    failed: list[PollLine] = field(default_factory=list)

    def add(self, line: PollLine) -> None:
        """Count one line."""
        self.outcomes[line.outcome.value] += 1
        if line.outcome not in (Outcome.OK, Outcome.UNCHANGED):
            self.failed.append(line)

    def as_json(self) -> dict[str, int]:
        """`{"hosts", "ok", "unchanged", ... one count an outcome}`."""
        return {"hosts": len(self.hosts)} | {o.value: self.outcomes[o.value] for o in Outcome}


OnLine = Callable[[PollLine], None]


@dataclass(frozen=True, slots=True)
class _Pass:
    deps: Deps
    suppliers: Mapping[str, Supplier]
    listings: Mapping[int, Listing]
    states: Mapping[int, ListingState]
    writer: Writer
    report: PollReport
    patience: float
    slots: asyncio.Semaphore


async def poll_due(deps: Deps, *, workers: int = 50, on_line: OnLine | None = None) -> PollReport:
    """One tick: what is due now, on hosts that nobody else visits."""
    by_host = await asyncio.to_thread(_due, deps)
    return await _run(deps, by_host, workers=workers, on_line=on_line, patience=0.0)


async def poll_these(
    deps: Deps,
    listings: Collection[int],
    *,
    workers: int = 50,
    on_line: OnLine | None = None,
    patience: float = PATIENCE,
) -> PollReport:
    """The named listings now, each host in its turn and at its pace."""
    by_host = await asyncio.to_thread(_hosts_of, deps, listings)
    return await _run(deps, by_host, workers=workers, on_line=on_line, patience=patience)


def _due(deps: Deps) -> dict[str, list[int]]:
    with deps.store.read() as unit:
        return unit.polls.due(deps.clock())


def _hosts_of(deps: Deps, listings: Collection[int]) -> dict[str, list[int]]:
    with deps.store.read() as unit:
        return unit.polls.hosts_of(listings)


async def _run(
    deps: Deps,
    by_host: Mapping[str, Sequence[int]],
    *,
    workers: int,
    on_line: OnLine | None,
    patience: float,
) -> PollReport:
    report = PollReport()
    ids = [listing for listings in by_host.values() for listing in listings]
    if not ids:
        return report
    suppliers, listings, states = await asyncio.to_thread(_load, deps, ids)
    writer = Writer(deps, report, on_line)
    this = _Pass(
        deps, suppliers, listings, states, writer, report, patience, asyncio.Semaphore(workers)
    )
    async with asyncio.TaskGroup() as group:
        writing = group.create_task(writer.run())
        async with asyncio.TaskGroup() as visiting:
            for host, members in by_host.items():
                visiting.create_task(_lane(this, host, members))
        await writer.close()
        await writing
    return report


def _load(
    deps: Deps, ids: Collection[int]
) -> tuple[dict[str, Supplier], dict[int, Listing], dict[int, ListingState]]:
    with deps.store.read() as unit:
        listings = {listing.id: listing for listing in unit.catalogue.listings(ids)}
        return unit.catalogue.suppliers(), listings, unit.polls.states(ids)


async def _lane(this: _Pass, host: str, members: Sequence[int]) -> None:
    async with this.slots:
        lease = await lanes.claim(this.deps, host, patience=this.patience)
        if lease is None:
            this.report.waiting[host] = "another worker visits this host"
            return
        this.report.hosts.add(host)
        try:
            await _drain(this, lease, members)
        except lanes.LostLeaseError:
            this.report.waiting[host] = "the lease on this host was lost"
        finally:
            await this.writer.flushed()
            await asyncio.to_thread(lanes.give_back, this.deps, lease)


async def _drain(this: _Pass, lease: Lease, members: Sequence[int]) -> None:
    for place, listing_id in enumerate(members):
        listing = this.listings.get(listing_id)
        if listing is None or listing.url is None:
            continue
        now = this.deps.clock()
        pause = lanes.pause_before(lease.state, now)
        left = len(members) - place
        if lanes.capped(lease.state, now):
            this.report.waiting[lease.host] = f"{left} left: the host had its visits for today"
            return
        if pause > max(LONG_PAUSE, this.patience):
            until = lease.state.next_allowed_at
            this.report.waiting[lease.host] = f"{left} left: the host is to be left alone to {until}"
            return
        await asyncio.sleep(pause)
        lease = await lanes.keep(this.deps, lease)
        lease = await _visit(this, lease, listing)


async def _visit(this: _Pass, lease: Lease, listing: Listing) -> Lease:
    supplier = this.suppliers[listing.supplier]
    state = this.states[listing.id]
    seen = await look(this.deps, lease, listing, supplier, state)
    gap = lanes.gap_of(supplier, lease.host, this.deps.loopback_hosts)
    lease = replace(lease, state=lanes.after_visit(lease.state, seen.visited, gap))
    await this.writer.put(Result(seen, lease))
    return lease


async def look(
    deps: Deps, lease: Lease, listing: Listing, supplier: Supplier, state: ListingState
) -> Seen:
    """One visit and what its page says. The caller holds the lease on the host."""
    rules = site_rules(listing, supplier, _known(state))
    request = VisitRequest(
        url=listing.url or "",
        validators=validators_to_send(state, rules, deps.clock()),
        robots=lease.state.robots,
        render=listing.render,
    )
    visited = await deps.fetcher.visit(request)
    page = visited.page
    if page is None:
        return Seen(listing, visited)
    digest = body_digest(page, rules)
    if repeats(state, visited, digest):
        return Seen(listing, visited, digest=digest)
    reading = await asyncio.to_thread(read_page, page, rules)
    as_json = reading_to_json(listing.url or "", page.url, reading)
    return Seen(listing, visited, reading, as_json, digest)


def _known(state: ListingState) -> Ids | None:
    names = {name: state.identity.get(name) for name in ("gtin", "mpn", "sku", "brand")}
    return Ids(**names) if any(names.values()) else None


class Writer:
    """The one writer of a pass: gathers results, keeps them in one transaction a batch."""

    def __init__(self, deps: Deps, report: PollReport, on_line: OnLine | None) -> None:
        self._deps = deps
        self._report = report
        self._on_line = on_line
        self._queue: asyncio.Queue[Result | None] = asyncio.Queue(maxsize=BATCH * 2)

    async def put(self, result: Result) -> None:
        """Hand over one result; waits where the store cannot keep up."""
        await self._queue.put(result)

    async def flushed(self) -> None:
        """Returns when all that was handed over so far is kept."""
        await self._queue.join()

    async def close(self) -> None:
        """No more results will come."""
        await self._queue.put(None)

    async def run(self) -> None:
        """Keep batches until closed."""
        open_ = True
        while open_:
            batch, open_ = await self._gather()
            if batch:
                lines = await asyncio.to_thread(keep_batch, self._deps, batch)
                self._tell(batch, lines)
            for _ in range(len(batch) + (not open_)):
                self._queue.task_done()

    async def _gather(self) -> tuple[list[Result], bool]:
        first = await self._queue.get()
        if first is None:
            return [], False
        batch, loop = [first], asyncio.get_running_loop()
        end = loop.time() + BATCH_WAIT
        with suppress(TimeoutError):
            while len(batch) < BATCH:
                async with asyncio.timeout_at(min(end, loop.time() + IDLE)):
                    result = await self._queue.get()
                if result is None:
                    return batch, False
                batch.append(result)
        return batch, True

    def _tell(self, batch: Sequence[Result], kept: Sequence[tuple[Outcome, str | None]]) -> None:
        for result, (outcome, reason) in zip(batch, kept, strict=True):
            reading = result.seen.reading
            line = PollLine(
                result.seen.listing.key,
                outcome,
                reason,
                str(reading.price) if reading and reading.price is not None else None,
                reading.currency if reading else None,
            )
            self._report.add(line)
            if self._on_line:
                self._on_line(line)
