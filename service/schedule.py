"""The schedule: three ticks that ask the store what is to be done. No job per listing."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from datetime import UTC

import structlog
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from service.errors import ServiceError
from service.flows.deliver import deliver_due
from service.flows.poll import poll_due
from service.flows.ports import Deps
from service.flows.prefs import applied
from service.flows.upkeep import upkeep

POLL_EVERY = 15  # seconds
DELIVER_EVERY = 5
UPKEEP_EVERY = 3600
DRAIN = 10.0  # seconds that a stopping service waits for visits under way

log = structlog.get_logger("schedule")


class Ticks:
    """Runs each tick at most once at a time and knows what is under way."""

    def __init__(self) -> None:
        self.running: set[asyncio.Task[None]] = set()
        self.stopping = False

    def every(self, name: str, tick: Callable[[], Awaitable[object]]) -> Callable[[], None]:
        """A job for the scheduler: starts `tick` unless it still runs. Errors are logged."""

        def start() -> None:
            if self.stopping or any(task.get_name() == name for task in self.running):
                return
            task = asyncio.get_running_loop().create_task(self._guarded(name, tick), name=name)
            self.running.add(task)
            task.add_done_callback(self.running.discard)

        return start

    async def _guarded(self, name: str, tick: Callable[[], Awaitable[object]]) -> None:
        try:
            await tick()
        except (ServiceError, OSError, ExceptionGroup) as error:
            log.exception("tick failed, comes again", tick=name, error=str(error))

    async def drain(self) -> None:
        """Wait a while for what is under way, then end it.

        The scheduler's own shutdown does not wait for coroutines.
        """
        self.stopping = True
        if self.running:
            await asyncio.wait(self.running, timeout=DRAIN)
        for task in self.running:
            task.cancel()
        await asyncio.gather(*self.running, return_exceptions=True)


@asynccontextmanager
async def running(deps: Deps, *, workers: int = 50) -> AsyncIterator[None]:
    """The schedule, running while inside."""
    scheduler = AsyncIOScheduler(timezone=UTC)
    ticks = Ticks()
    jobs = (
        ("poll", POLL_EVERY, lambda own: poll_due(own, workers=workers)),
        ("deliver", DELIVER_EVERY, deliver_due),
        ("upkeep", UPKEEP_EVERY, upkeep),
    )
    for name, seconds, tick in jobs:
        start = ticks.every(name, _with_own(deps, tick))
        job = _as_coroutine(start)
        scheduler.add_job(job, "interval", seconds=seconds, misfire_grace_time=None)
        start()
    scheduler.start()
    try:
        yield
    finally:
        scheduler.shutdown(wait=False)
        await ticks.drain()


def _with_own(
    deps: Deps, tick: Callable[[Deps], Awaitable[object]]
) -> Callable[[], Awaitable[object]]:
    """With the settings as the book has them at that time: they may change while it runs."""

    async def run() -> object:
        return await tick(await asyncio.to_thread(applied, deps))

    return run


def _as_coroutine(start: Callable[[], None]) -> Callable[[], Awaitable[None]]:
    """A coroutine job runs on the loop itself, where tasks can be made."""

    async def job() -> None:
        start()

    return job
