"""Read one page now, without storing what it says; its host is still left its gap."""

from __future__ import annotations

import asyncio
from typing import Any

from scrapers import (
    Outcome,
    Page,
    Reading,
    SiteRules,
    VisitRequest,
    host_key,
    read_page,
    reading_to_json,
)
from service.flows import lanes
from service.flows.names import supplier_at
from service.flows.ports import Deps, HostState, Lease
from service.model.catalogue import Supplier

NOBODY = Supplier("", "")


async def look_at(
    deps: Deps, url: str, rules: SiteRules | None = None, *, patience: float = 300.0
) -> dict[str, Any]:
    """The JSON object of `ebbmark read` for a URL, also where the visit failed."""
    lease = await lanes.claim(deps, host_key(url), patience=patience)
    if lease is None:
        reading = Reading(Outcome.THROTTLED, "another worker visits this host; try again")
        return reading_to_json(url, url, reading)
    try:
        await asyncio.sleep(lanes.pause_before(lease.state, deps.clock()))
        visited = await deps.fetcher.visit(VisitRequest(url=url, robots=lease.state.robots))
        supplier = await asyncio.to_thread(_supplier, deps, url)
        gap = lanes.gap_of(supplier, lease.host, deps.loopback_hosts)
        state = lanes.after_visit(lease.state, visited, gap)
        await asyncio.to_thread(_save_pace, deps, lease, state)
    finally:
        await asyncio.to_thread(lanes.give_back, deps, lease)
    if visited.page is None:
        return reading_to_json(url, url, Reading(visited.outcome, visited.reason))
    return await asyncio.to_thread(read_bytes, url, visited.page, rules)


def _supplier(deps: Deps, url: str) -> Supplier:
    with deps.store.read() as unit:
        return supplier_at(unit, url) or NOBODY


def _save_pace(deps: Deps, lease: Lease, state: HostState) -> None:
    with deps.store.write() as unit:
        unit.polls.save_host(lease, state)


def read_bytes(name: str, page: Page, rules: SiteRules | None) -> dict[str, Any]:
    """The same for a page that is at hand, e.g. a saved file."""
    return reading_to_json(name, page.url, read_page(page, rules))
