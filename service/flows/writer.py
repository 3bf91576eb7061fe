"""The one writer of a pass: gathers results, keeps them in one transaction a batch, then tells."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from scrapers import Outcome
from service.flows.keep import Result, keep_batch
from service.flows.ports import Deps

BATCH = 500
BATCH_WAIT = 0.25  # seconds, the longest that a result waits to be kept
IDLE = 0.02  # seconds without another result end a batch early


@dataclass(frozen=True, slots=True)
class PollLine:
    """One result, told after it was kept."""

    listing: str
    outcome: Outcome
    reason: str | None
    price: str | None = None
    currency: str | None = None


@dataclass(slots=True)
class PollReport:
    """Counts of a pass. `waiting`: listings left for later, by reason."""

    hosts: set[str] = field(default_factory=set)
    outcomes: Counter[str] = field(default_factory=Counter)
    waiting: dict[str, str] = field(default_factory=dict)
    failed: list[PollLine] = field(default_factory=list)

    def add(self, line: PollLine) -> None:
        """Count one line."""
        self.outcomes[line.outcome.value] += 1
        if line.outcome not in (Outcome.OK, Outcome.UNCHANGED):
            self.failed.append(line)

    def as_json(self) -> dict[str, int]:
        """`{"hosts", "ok", "unchanged", ... one count an outcome}`."""
        return {"hosts": len(self.hosts)} | {o.value: self.outcomes[o.value] for o in Outcome}


OnLine = Callable[[PollLine], None]
Kept = asyncio.Future[None]
Item = tuple[Result, Kept]


class Writer:
    """Hand results over with `put`; `run` keeps them until `close`."""

    def __init__(self, deps: Deps, report: PollReport, on_line: OnLine | None) -> None:
        self._deps = deps
        self._report = report
        self._on_line = on_line
        self._queue: asyncio.Queue[Item | None] = asyncio.Queue(maxsize=BATCH * 2)
        self._over = False

    async def put(self, result: Result) -> Kept:
        """A future that is done when the result is kept, cancelled where it never will be.

        Waits while the store cannot keep up.
        """
        kept: Kept = asyncio.get_running_loop().create_future()
        if self._over:
            kept.cancel()
        else:
            await self._queue.put((result, kept))
        return kept

    async def close(self) -> None:
        """No more results will come."""
        await self._queue.put(None)

    async def run(self) -> None:
        """Keep batches until closed. An error of the store ends it, and so the whole pass."""
        open_, batch = True, list[Item]()
        try:
            while open_:
                batch, open_ = await self._gather()
                if batch:
                    await self._keep(batch)
        finally:
            self._over = True
            while not self._queue.empty():
                if item := self._queue.get_nowait():
                    batch.append(item)
            for _, kept in batch:
                kept.cancel()  # nothing where it is done

    async def _keep(self, batch: Sequence[Item]) -> None:
        results = [result for result, _ in batch]
        outcomes = await asyncio.to_thread(keep_batch, self._deps, results)
        for result, (outcome, reason) in zip(results, outcomes, strict=True):
            self._tell(result, outcome, reason)
        for _, kept in batch:
            if not kept.done():
                kept.set_result(None)

    async def _gather(self) -> tuple[list[Item], bool]:
        first = await self._queue.get()
        if first is None:
            return [], False
        batch, loop = [first], asyncio.get_running_loop()
        end, size = loop.time() + BATCH_WAIT, 0
        while self._take(batch):
            if len(batch) in (size, BATCH) or loop.time() >= end:
                return batch, True
            size = len(batch)
            await asyncio.sleep(IDLE)
        return batch, False

    def _take(self, batch: list[Item]) -> bool:
        """What has come meanwhile; False where no more will come."""
        while len(batch) < BATCH and not self._queue.empty():
            item = self._queue.get_nowait()
            if item is None:
                return False
            batch.append(item)
        return True

    def _tell(self, result: Result, outcome: Outcome, reason: str | None) -> None:
        reading = result.seen.reading
        line = PollLine(
            result.seen.listing.key,
            outcome,
            reason,
            str(reading.price) if reading and reading.price is not None else None,
            reading.currency if reading else None,
        )
        self._report.add(line)
        if self._on_line:
            self._on_line(line)
