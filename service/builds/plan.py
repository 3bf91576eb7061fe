"""The cheapest order for one or several builds: what to buy where, and what that was weighed
against.

A mixed-integer programme over whole units of sale (`plan_model`), solved to the end or to a
gap that is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from time import monotonic

from service.builds.offers import Market
from service.builds.plan_others import others, pays_below
from service.builds.plan_search import TIME_LIMIT, Plan, Planner
from service.builds.plan_stall import stall_of
from service.builds.plan_wants import Asked, wants_of
from service.model.catalogue import Part

__all__ = ["TIME_LIMIT", "WEIGHING", "Asked", "Plan", "make_plan"]

WEIGHING = 3.0  # seconds for what else could be ordered


def make_plan(
    builds: Sequence[Asked],
    market: Market,
    low: Iterable[tuple[Part, Fraction]] = (),
    *,
    limit: float = TIME_LIMIT,
    weigh: float = WEIGHING,
    now: Callable[[], float] = monotonic,
) -> Plan:
    """The cheapest order for what the builds still need and what runs low on the shelf.

    `low`: parts with the least amount to keep, in base units. `limit`: seconds; `weigh`:
    seconds for what other ways of ordering would cost, of which `now` counts. InputError:
    see whole_build.
    """
    found = wants_of(builds, market, low)
    stall = stall_of(found.wants, market)
    lacking = [*found.lacking, *((found.wants[n], why) for n, why in sorted(stall.why.items()))]
    planner = Planner(found.wants, stall, market, limit)
    first = planner.plan()
    plan = replace(first, lacking=(*lacking, *first.lacking), covered=found.covered)
    if not plan.orders:
        return plan
    start, weighed, hurried = now(), [], False
    for other in others(planner, plan) if weigh > 0 else ():
        weighed.append(other)
        hurried = now() - start > weigh
        if hurried:
            break
    pays = () if hurried or weigh <= 0 else tuple(pays_below(planner, plan))
    return replace(plan, others=tuple(weighed), pays_below=pays, hurried=hurried)
