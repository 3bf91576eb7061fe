"""The way into another host's lane when a page redirects there: its lease and its gap hold too."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager
from datetime import timedelta
from typing import TYPE_CHECKING

from scrapers import ELSEWHERE, FetchError
from service.flows import lanes

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from datetime import datetime

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
        try:
            await asyncio.sleep(_pause(lease, deps.clock()))
        except BaseException:  # it was not asked
            await lanes.hand_back(deps, lease)
            raise
        try:
            yield
        finally:
            await lanes.hand_back(deps, _asked(deps, lease))

    return enter


def _pause(lease: Lease, now: datetime) -> float:
    """Seconds until the host may be asked. FetchError where that is too long for a visit."""
    pause = lanes.pause_before(lease.state, now)
    if pause > PATIENCE or lanes.capped(lease.state, now):
        raise FetchError(ELSEWHERE)
    return pause


def _asked(deps: Deps, lease: Lease) -> Lease:
    """Give the host its gap, never less than it was owed already."""
    quiet = lease.host.partition(":")[0] in deps.loopback_hosts
    gap = timedelta(0) if quiet else lanes.DEFAULT_GAP
    return lanes.cut_short(lease, deps.clock(), gap)
