"""One request at a time to each host, within this process: under the lease, not instead of it."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from scrapers.errors import FetchError
from scrapers.pace import ELSEWHERE

if TYPE_CHECKING:
    from types import TracebackType


class Lanes:
    """A lock for each host that is being asked; none for the others."""

    def __init__(self) -> None:
        self._locks: dict[str, tuple[asyncio.Lock, int]] = {}

    def enter(self, host: str, *, wait: bool = True) -> Turn:
        """`async with` the host's lock. FetchError where it is taken and may not be waited for."""
        return Turn(self._locks, host, wait=wait)


class Turn:
    """One user's turn on a host (a class: half the cost of a generator's context)."""

    def __init__(
        self, locks: dict[str, tuple[asyncio.Lock, int]], host: str, *, wait: bool
    ) -> None:
        self._locks = locks
        self._host = host
        self._wait = wait

    async def __aenter__(self) -> None:
        lock, users = self._locks.get(self._host) or (asyncio.Lock(), 0)
        if users and not self._wait:
            raise FetchError(ELSEWHERE)
        self._locks[self._host] = lock, users + 1
        try:
            await lock.acquire()
        except BaseException:
            self._leave()
            raise

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._locks[self._host][0].release()
        self._leave()

    def _leave(self) -> None:
        lock, users = self._locks[self._host]
        if users > 1:
            self._locks[self._host] = lock, users - 1
        else:
            del self._locks[self._host]
