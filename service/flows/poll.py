"""Poll: visit what is due, host by host, and keep what was read.

`poll_due` takes what the store says is due; `poll_these` takes listings that
the user named and waits its turn on their hosts. Both send every result
through one writer, which keeps a batch in one transaction before anyone is
told of it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from scrapers import (
    Ids,
    Page,
    Visited,
    VisitRequest,
    network_suspect,
    read_at_once,
    read_page,
)
from service.flows import lanes
from service.flows.keep import Result
from service.flows.ports import Deps, Lease, ListingState
from service.flows.verdict import Seen, body_digest, repeats, site_rules, validators_to_send
from service.flows.writer import Kept, OnLine, PollReport, Writer
from service.model.catalogue import Listing, Supplier

PATIENCE = 300.0  # seconds that a user's poll waits for its turn on a host
NO_NETWORK = "every host failed, or all led to one page: look whether this machine is online"
LONG_PAUSE = 60.0  # a tick does not sit out a longer pause; it comes again


@dataclass(frozen=True, slots=True)
class _Pass:
    deps: Deps
    suppliers: Mapping[str, Supplier]
    listings: Mapping[int, Listing]
    states: dict[int, ListingState]  # of the listings that are still to be visited
    writer: Writer
    report: PollReport
    patience: float
    slots: asyncio.Semaphore
    last: dict[str, Visited] = field(default_factory=dict)  # of each host
    leases: dict[str, Lease] = field(default_factory=dict)  # with the pace after the last visit


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
    try:
        async with asyncio.TaskGroup() as group:
            group.create_task(writer.run())
            async with asyncio.TaskGroup() as visiting:
                for host, members in by_host.items():
                    visiting.create_task(_lane(this, host, members))
            await writer.close()
    except BaseExceptionGroup as errors:
        raise first_of(errors) from None
    if network_suspect(list(this.last.values()), list(this.last)):
        report.waiting["network"] = NO_NETWORK
    return report


def first_of(errors: BaseExceptionGroup[BaseException]) -> BaseException:
    """The first single error of a group: what a caller can name."""
    inner = errors.exceptions[0]
    return first_of(inner) if isinstance(inner, BaseExceptionGroup) else inner


def _load(
    deps: Deps, ids: Collection[int]
) -> tuple[dict[str, Supplier], dict[int, Listing], dict[int, ListingState]]:
    with deps.store.read() as unit:
        listings = {listing.id: listing for listing in unit.catalogue.listings(ids)}
        return unit.catalogue.suppliers(), listings, unit.polls.states(ids, evidence=False)


async def _lane(this: _Pass, host: str, members: Sequence[int]) -> None:
    lease = await lanes.claim(this.deps, host, patience=this.patience)
    if lease is None:
        this.report.waiting[host] = "another worker visits this host"
        return
    this.report.hosts.add(host)
    kept: list[Kept] = []
    try:
        await _drain(this, lease, members, kept)
    except lanes.LostLeaseError:
        this.report.waiting[host] = "the lease on this host was lost"
    finally:
        try:
            if kept:  # the host's pace is in its row before another may have the host
                await asyncio.wait(kept[-1:])
        finally:  # cancelled while it waits, it gives the host back all the same
            await lanes.hand_back(this.deps, this.leases.pop(host, lease))


async def _drain(this: _Pass, lease: Lease, members: Sequence[int], kept: list[Kept]) -> None:
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
            this.report.waiting[lease.host] = f"{left} left: to be left alone until {until}"
            return
        await asyncio.sleep(pause)
        async with this.slots:  # its wait may be long: the lease is looked at after it
            lease = await lanes.keep(this.deps, lease)
            result = await _visit(this, lease, listing)
        lease = this.leases[lease.host] = result.lease
        kept.append(await this.writer.put(result))


async def _visit(this: _Pass, lease: Lease, listing: Listing) -> Result:
    supplier = this.suppliers[listing.supplier]
    state = this.states.pop(listing.id)
    gap = lanes.gap_of(supplier, lease.host, this.deps.loopback_hosts)
    try:
        seen = await look(this.deps, lease, listing, supplier, state)
    except BaseException:
        this.leases[lease.host] = lanes.cut_short(lease, this.deps.clock(), gap)
        raise
    this.last[lease.host] = seen.visited
    return Result(seen, replace(lease, state=lanes.after_visit(lease.state, seen.visited, gap)))


def _without_bytes(visited: Visited, page: Page) -> Visited:
    return replace(visited, page=replace(page, body=b""))


async def look(
    deps: Deps, lease: Lease, listing: Listing, supplier: Supplier, state: ListingState
) -> Seen:
    """One visit and what its page says. The caller holds the lease on the host.

    The page's bytes are let go of: many results wait to be kept at once.
    """
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
    visited = _without_bytes(visited, page)
    if repeats(state, visited, digest):
        return Seen(listing, visited, digest=digest, supplier=supplier)
    reading = read_at_once(page, rules) or await asyncio.to_thread(read_page, page, rules)
    return Seen(listing, visited, reading, digest=digest, supplier=supplier)


def _known(state: ListingState) -> Ids | None:
    names = {name: state.identity.get(name) for name in ("gtin", "mpn", "sku", "brand")}
    return Ids(**names) if any(names.values()) else None
