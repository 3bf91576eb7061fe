"""The way into another host's lane when a page redirects there: its lease and its gap hold too."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from scrapers import ELSEWHERE, FetchError
from service.flows import lanes

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from scrapers import HostDoor
    from service.flows.ports import Deps, Lease

PATIENCE = 12.0  # seconds: a visit has 30 for all its hops


def door(deps: Deps) -> HostDoor:
    """For the fetcher: entered before a request to a host that a redirect led to.

    It never waits for another worker's lease (two visits could wait for one another),
    only for the rest of a gap; else it raises FetchError and the page is asked for at
    another time.
    """

    @asynccontextmanager
    async def enter(host: str) -> AsyncIterator[None]:
        lease = await lanes.claim(deps, host, patience=0.0)
        if lease is None:
            raise FetchError(ELSEWHERE)
        pause = lanes.pause_before(lease.state, deps.clock())
        try:
            if pause > PATIENCE or lanes.capped(lease.state, deps.clock()):
                raise FetchError(ELSEWHERE)
            await asyncio.sleep(pause)
            yield
        finally:
            await asyncio.to_thread(_leave, deps, lease)

    return enter


def _leave(deps: Deps, lease: Lease) -> None:
    """Give the host its gap, never less than it was owed already."""
    quiet = lease.host.partition(":")[0] in deps.loopback_hosts
    rested = deps.clock() + (timedelta(0) if quiet else lanes.DEFAULT_GAP)
    owed = lease.state.next_allowed_at
    state = replace(lease.state, next_allowed_at=rested if owed is None else max(owed, rested))
    with deps.store.write() as unit:
        unit.polls.save_host(lease, state)
        unit.polls.release(lease)
