"""One request at a time to each host, within this process: under the lease, not instead of it."""

from __future__ import annotations

import asyncio
from collections import deque
from typing import TYPE_CHECKING

from scrapers.errors import FetchError
from scrapers.pace import ELSEWHERE

if TYPE_CHECKING:
    from types import TracebackType


class Lanes:
    """Who is being asked, and who waits for a turn there; nothing of the other hosts."""

    def __init__(self) -> None:
        self._waiting: dict[str, deque[asyncio.Future[None]]] = {}

    def enter(self, host: str, *, wait: bool = True) -> Turn:
        """`async with` a turn on the host. FetchError where it may not be waited for."""
        return Turn(self._waiting, host, wait=wait)


class Turn:
    """One user's turn on a host, given on in the order of asking."""

    def __init__(
        self, waiting: dict[str, deque[asyncio.Future[None]]], host: str, *, wait: bool
    ) -> None:
        self._waiting = waiting
        self._host = host
        self._wait = wait

    async def __aenter__(self) -> None:
        queue = self._waiting.get(self._host)
        if queue is None:
            self._waiting[self._host] = deque()
            return
        if not self._wait:
            raise FetchError(ELSEWHERE)
        turn = asyncio.get_running_loop().create_future()
        queue.append(turn)
        try:
            await turn
        except BaseException:
            if turn in queue:
                queue.remove(turn)
            elif not turn.cancelled():  # the turn was given in the same moment
                self._leave()
            raise

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._leave()

    def _leave(self) -> None:
        queue = self._waiting[self._host]
        while queue:
            turn = queue.popleft()
            if not turn.done():
                turn.set_result(None)
                return
        del self._waiting[self._host]
