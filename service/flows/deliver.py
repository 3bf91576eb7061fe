"""Deliver: take notices from the outbox to their channels, at least once, with a stable key.

Claim with a lease, send with no transaction open, mark. Who dies between
sending and marking leaves a lease that runs out; the notice goes again under
the same key. In the user's quiet hours nothing goes out; it waits until they end.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from datetime import timedelta

from service.errors import DeliveryError
from service.flows.ports import Deps
from service.flows.prefs import held_until
from service.model.deals import Notice

HOLD = timedelta(minutes=2)
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=6)
GIVE_UP_AFTER = 20  # tries, about three days


@dataclass(frozen=True, slots=True)
class Delivered:
    """Counts of one round. `given_up` stays visible as undelivered."""

    sent: int = 0
    failed: int = 0
    given_up: int = 0


async def deliver_due(deps: Deps) -> Delivered:
    """One round over what waits now; one failing channel holds up no other."""
    if held_until(deps, deps.clock()) is not None:
        return Delivered()
    notices = await asyncio.to_thread(_claim, deps)
    results = await asyncio.gather(*(_deliver(deps, notice) for notice in notices))
    return Delivered(results.count("sent"), results.count("failed"), results.count("given up"))


def _claim(deps: Deps) -> list[Notice]:
    with deps.store.write() as unit:
        return unit.outbox.claim(deps.owner, deps.clock(), HOLD)


async def _deliver(deps: Deps, notice: Notice) -> str:
    channel = deps.channels.get(notice.channel)
    if channel is None:
        gone = f"there is no channel {notice.channel} any more"
        return await asyncio.to_thread(_failed, deps, notice, gone, retry=False)
    try:
        async with asyncio.timeout(HOLD.total_seconds() / 2):
            await channel.send(notice)
    except TimeoutError:
        return await asyncio.to_thread(_failed, deps, notice, "no answer in time", retry=True)
    except DeliveryError as error:
        return await asyncio.to_thread(_failed, deps, notice, str(error), retry=error.retry)
    await asyncio.to_thread(_sent, deps, notice)
    return "sent"


def _sent(deps: Deps, notice: Notice) -> None:
    with deps.store.write() as unit:
        unit.outbox.mark_sent(notice.key, deps.clock())


def _failed(deps: Deps, notice: Notice, reason: str, *, retry: bool) -> str:
    again = retry and notice.attempts < GIVE_UP_AFTER
    next_try = deps.clock() + wait_after(notice.attempts) if again else None
    with deps.store.write() as unit:
        unit.outbox.mark_failed(notice.key, reason, next_try)
    return "failed" if again else "given up"


def wait_after(attempts: int) -> timedelta:
    """Doubles from a minute to six hours."""
    doubled: timedelta = FIRST_WAIT * 2 ** min(attempts, 10)
    return min(doubled, LONGEST_WAIT)
