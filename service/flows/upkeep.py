"""Upkeep: newer exchange rates, old visit outcomes dropped, edited builds noted."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from datetime import UTC, date, timedelta

from service.errors import DeliveryError
from service.flows.editions import note_editions
from service.flows.ports import Deps


@dataclass(frozen=True, slots=True)
class Upkept:
    """What a round did. `rates_error`: why newer rates could not be had."""

    new_rates: int = 0
    pruned: int = 0
    rates_error: str | None = None


async def upkeep(deps: Deps) -> Upkept:
    """One round; safe to run as often as one likes."""
    await asyncio.to_thread(_editions, deps)
    pruned = await asyncio.to_thread(_prune, deps)
    try:
        new = await _rates(deps)
    except DeliveryError as error:
        return Upkept(0, pruned, str(error))
    return Upkept(new, pruned)


def _editions(deps: Deps) -> int:
    with deps.store.write() as unit:
        return note_editions(unit, deps)


def _prune(deps: Deps) -> int:
    with deps.store.write() as unit:
        return unit.polls.prune_visits(deps.clock() - timedelta(days=deps.keep_visits_days))


async def _rates(deps: Deps) -> int:
    """The ECB publishes once a working day: asked only where today's are not there."""
    if deps.latest_rates is None:
        return 0
    today = deps.clock().astimezone(UTC).date()
    last = await asyncio.to_thread(_last_day, deps)
    if last is not None and last >= today:
        return 0
    rows = await deps.latest_rates()
    return await asyncio.to_thread(_add, deps, rows)


def _last_day(deps: Deps) -> date | None:
    with deps.store.read() as unit:
        return unit.rates.last_day()


def _add(deps: Deps, rows: list[tuple[date, str, str]]) -> int:
    with deps.store.write() as unit:
        return unit.rates.add(rows)
