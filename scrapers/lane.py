"""One request at a time to each host, within this process: under the lease, not instead of it."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from scrapers.errors import FetchError
from scrapers.pace import ELSEWHERE

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


class Lanes:
    """A lock for each host that is being asked; none for the others."""

    def __init__(self) -> None:
        self._locks: dict[str, tuple[asyncio.Lock, int]] = {}

    @asynccontextmanager
    async def enter(self, host: str, *, wait: bool = True) -> AsyncIterator[None]:
        lock, users = self._locks.get(host) or (asyncio.Lock(), 0)
        if users and not wait:
            raise FetchError(ELSEWHERE)
        self._locks[host] = lock, users + 1
        try:
            async with lock:
                yield
        finally:
            users = self._locks[host][1] - 1
            if users:
                self._locks[host] = lock, users
            else:
                del self._locks[host]
