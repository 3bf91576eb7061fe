"""Lanes: the visits to one host, one after another, under a lease in the store.

A host is never asked twice at once, whatever process asks: a lane begins by
claiming the host row and ends by giving it back. The gap runs from the end of
one visit to the start of the next and outlives the process.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from scrapers import Outcome, Visited, is_host_failure, next_allowed
from service.flows.owner import is_dead
from service.flows.ports import Deps, HostState, Lease
from service.model.catalogue import Supplier

DEFAULT_GAP = timedelta(seconds=10)
GAP_FLOOR = timedelta(seconds=2)
HOLD = timedelta(seconds=120)  # longer than one visit may take with its gap
RENEW_BELOW = timedelta(seconds=60)
DAILY_CAP = 2000
RETRY_CLAIM = 0.25  # seconds


class LostLeaseError(Exception):
    """Another worker holds the host now; what this lane knows is not written."""


def gap_of(supplier: Supplier, host: str, loopback: frozenset[str]) -> timedelta:
    """The least pause between two visits to the supplier's host."""
    if host.partition(":")[0] in loopback:
        return supplier.min_gap or timedelta(0)
    return max(supplier.min_gap or DEFAULT_GAP, GAP_FLOOR)


async def claim(deps: Deps, host: str, *, patience: float) -> Lease | None:
    """The lease on `host`, waiting up to `patience` seconds for its turn."""
    waited = 0.0
    while True:
        lease = await _claimed(deps, host)
        if lease is not None or waited >= patience:
            return lease
        await asyncio.sleep(RETRY_CLAIM)
        waited += RETRY_CLAIM


async def _claimed(deps: Deps, host: str) -> Lease | None:
    """One try. Cancelled meanwhile, it gives back what its thread may still have claimed."""
    trying = asyncio.ensure_future(asyncio.to_thread(_try_claim, deps, host))
    try:
        return await asyncio.shield(trying)
    except asyncio.CancelledError:
        if lease := await trying:
            await hand_back(deps, lease)
        raise


def _try_claim(deps: Deps, host: str) -> Lease | None:
    now = deps.clock()
    with deps.store.write() as unit:
        if lease := unit.polls.claim(host, deps.owner, now, HOLD):
            return lease
        holder = unit.polls.holder(host)
        if holder is None or not is_dead(holder):
            return None
        pause = timedelta(0) if host.partition(":")[0] in deps.loopback_hosts else DEFAULT_GAP
        unit.polls.free(host, holder, now + pause)
        return unit.polls.claim(host, deps.owner, now, HOLD)


async def keep(deps: Deps, lease: Lease) -> Lease:
    """The same lease, renewed if it would run out during a visit. LostLeaseError."""
    now = deps.clock()
    if lease.until - now > RENEW_BELOW:
        return lease
    renewed = await asyncio.to_thread(_renew, deps, lease, now + HOLD)
    if renewed is None:
        raise LostLeaseError(lease.host)
    return renewed


def _renew(deps: Deps, lease: Lease, until: datetime) -> Lease | None:
    with deps.store.write() as unit:
        return unit.polls.renew(lease, until)


async def hand_back(deps: Deps, lease: Lease) -> None:
    """`give_back` in a thread, to its end also where this task is cancelled meanwhile.

    So the pace of a visit is kept even where its result no longer is.
    """
    giving = asyncio.ensure_future(asyncio.to_thread(give_back, deps, lease))
    try:
        await asyncio.shield(giving)
    except asyncio.CancelledError:
        await asyncio.wait({giving})
        raise


def give_back(deps: Deps, lease: Lease) -> None:
    """Let the next one have the host, at the pace that `lease` knows of."""
    with deps.store.write() as unit:
        unit.polls.save_host(lease, lease.state)
        unit.polls.release(lease)


def pause_before(state: HostState, now: datetime) -> float:
    """Seconds until the host may be asked again."""
    if state.next_allowed_at is None:
        return 0.0
    return max(0.0, (state.next_allowed_at - now).total_seconds())


def capped(state: HostState, now: datetime) -> bool:
    """Whether the host had its visits for today (UTC)."""
    return state.day == now.astimezone(UTC).date() and state.visits_today >= DAILY_CAP


def cut_short(lease: Lease, now: datetime, gap: timedelta) -> Lease:
    """After a visit of which nothing is known but that it began: the host was asked."""
    owed = lease.state.next_allowed_at
    rested = next_allowed(now, gap, None, None, Outcome.REFUSED, 0)
    visits, today = counted(lease.state, now)
    next_allowed_at = rested if owed is None else max(owed, rested)
    state = replace(lease.state, next_allowed_at=next_allowed_at, visits_today=visits, day=today)
    return replace(lease, state=state)


def counted(state: HostState, now: datetime) -> tuple[int, date]:
    """Visits of the day (UTC) with one more, and the day."""
    today = now.astimezone(UTC).date()
    return (state.visits_today + 1 if state.day == today else 1), today


def after_visit(state: HostState, visited: Visited, gap: timedelta) -> HostState:
    """The host row after a visit: when it may be asked again, and its robots.txt."""
    now = visited.finished_at
    failed = is_host_failure(visited)
    failures = state.failures + 1 if failed else 0
    allowed = next_allowed(
        now,
        gap=gap,
        crawl_delay=visited.crawl_delay,
        retry_after=visited.retry_after,
        outcome=visited.outcome,
        failures=failures,
    )
    visits, today = counted(state, now)
    robots = visited.robots or state.robots
    parked = visited.reason if failed else None
    return HostState(state.host, allowed, failures, robots, visits, today, parked)
