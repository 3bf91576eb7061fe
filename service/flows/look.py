"""Read one page now, without storing what it says; its host is still left its gap."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from scrapers import (
    Outcome,
    Page,
    Reading,
    SiteRules,
    Visited,
    VisitRequest,
    host_key,
    read_page,
    reading_to_json,
)
from service.flows import lanes
from service.flows.names import supplier_at
from service.flows.ports import Deps, HostState
from service.model.catalogue import Supplier

NOBODY = Supplier("", "")
BUSY = "another worker visits this host; try again"


async def look_at(
    deps: Deps, url: str, rules: SiteRules | None = None, *, patience: float = 300.0
) -> dict[str, Any]:
    """The JSON object of `ebbmark read` for a URL, also where the visit failed."""
    visited = await visit_in_turn(deps, url, patience=patience)
    if isinstance(visited, str):
        return reading_to_json(url, url, Reading(Outcome.THROTTLED, visited))
    if visited.page is None:
        return reading_to_json(url, url, Reading(visited.outcome, visited.reason))
    return await asyncio.to_thread(read_bytes, url, visited.page, rules)


async def visit_in_turn(deps: Deps, url: str, *, patience: float) -> Visited | str:
    """One visit to a page that the user named, in its host's turn; a text: why not now.

    `patience`: seconds to wait for the lease, and at most for the rest of the gap.
    """
    lease = await lanes.claim(deps, host_key(url), patience=patience)
    if lease is None:
        return BUSY
    try:
        if why := _not_now(lease.state, deps.clock(), patience):
            return why
        gap = await asyncio.to_thread(_gap, deps, url, lease.host)
        await asyncio.sleep(lanes.pause_before(lease.state, deps.clock()))
        lease = await lanes.keep(deps, lease)
        held, lease = lease, lanes.cut_short(lease, deps.clock(), gap)
        visited = await deps.fetcher.visit(VisitRequest(url=url, robots=held.state.robots))
        lease = replace(held, state=lanes.after_visit(held.state, visited, gap))
    except lanes.LostLeaseError:
        return BUSY
    finally:
        await lanes.hand_back(deps, lease)
    return visited


def _not_now(state: HostState, now: datetime, patience: float) -> str | None:
    if lanes.capped(state, now):
        return "this shop had its visits for today; try again tomorrow"
    pause = lanes.pause_before(state, now)
    if pause > patience:
        return f"this shop is left alone for {-(-int(pause) // 60)} min after its last answer"
    return None


def _gap(deps: Deps, url: str, host: str) -> timedelta:
    with deps.store.read() as unit:
        supplier = supplier_at(unit, url) or NOBODY
    return lanes.gap_of(supplier, host, deps.loopback_hosts)


def read_bytes(name: str, page: Page, rules: SiteRules | None) -> dict[str, Any]:
    """The same for a page that is at hand, e.g. a saved file."""
    return reading_to_json(name, page.url, read_page(page, rules))
