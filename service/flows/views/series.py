"""What a build took up over time: at the prices and the exchange rates of each day.

The points are those of `reprice --at`, with two differences: nothing is on hand, and a part
that nobody had looked at yet counts at its first price, so that the line does not climb with
every page that is added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from service.builds.all_costs import bound_to
from service.builds.mixes import whole_build
from service.builds.offers import Market
from service.builds.series import cost_series
from service.builds.view import PriceView
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.flows.views.builds import need_build
from service.flows.views.common import by_listing, money
from service.model.builds import Build
from service.model.catalogue import Listing
from service.model.money import Rates
from service.model.prices import Spell
from service.model.times import time_text

POINTS = 60  # of price changes, and as many of rates where any price is in another currency
Spells = Mapping[int, list[Spell]]


def build_series(deps: Deps, key: str, days: int = 365) -> dict[str, Any]:
    """`{"build", "currency", "points": [{"at", "share", "complete"}]}`, oldest first.

    It begins with the first price that was seen of any part.
    """
    with deps.store.read() as unit:
        build, now = need_build(unit, key), deps.clock()
        view = _view_of(unit, deps, build, now)
        spells = by_listing(unit.log.spells([x.id for x in view.listings]))
        first = min((known[0].first_seen for known in spells.values()), default=now)
        since = max(now - timedelta(days=days), first)
        begun = [spell for spell in _begun(view.listings, spells, since) if spell.first_seen <= now]
        times = _times(build, begun, since, now)
        points = cost_series(build, view, begun, times, _rates_of(unit)) if begun else []
    return {
        "build": key,
        "currency": build.currency,
        "points": [
            {
                "at": time_text(point.at),
                "share": money(point.share, build.currency),
                "complete": point.complete,
            }
            for point in points
        ],
    }


def _view_of(unit: Unit, deps: Deps, build: Build, now: datetime) -> PriceView:
    """Only what this build may be filled from, whichever part that was; nothing on hand."""
    whole = price_view(unit, deps, now)
    market = Market(whole, build.currency)
    bound = {key for line in whole_build(build, whole).lines for key in bound_to(line, market)}
    chosen = [x for x in whole.listings if bound & {supply.part for supply in x.supplies}]
    return replace(whole, listings=chosen, on_hand={}, holdings={}, purchases=())


def _begun(listings: Sequence[Listing], spells: Spells, since: datetime) -> Iterator[Spell]:
    """All spells; a part without any price at the beginning counts at its first one."""
    priced = {
        supply.part
        for entry in listings
        for supply in entry.supplies
        if entry.id in spells and spells[entry.id][0].first_seen <= since
    }
    known = [entry for entry in listings if entry.id in spells]
    for entry in sorted(known, key=lambda x: spells[x.id][0].first_seen):
        mine, parts = spells[entry.id], {supply.part for supply in entry.supplies}
        if not parts <= priced:
            mine = [replace(mine[0], first_seen=min(since, mine[0].first_seen)), *mine[1:]]
            priced |= parts
        yield from mine


def _times(build: Build, spells: Sequence[Spell], since: datetime, now: datetime) -> list[datetime]:
    """When prices changed, thinned out; evenly between where rates change every day."""
    changes = sorted({x.first_seen for x in spells if since < x.first_seen < now})
    found = {since, now, *changes[:: max(1, -(-len(changes) // POINTS))]}
    if any(spell.offer.currency != build.currency for spell in spells):
        step = max((now - since) / POINTS, timedelta(days=1))
        found |= {since + step * k for k in range(1, POINTS) if since + step * k < now}
    return sorted(found)


def _rates_of(unit: Unit) -> Callable[[datetime], Rates]:
    known: dict[date, Rates] = {}

    def rates(at: datetime) -> Rates:
        if at.date() not in known:
            known[at.date()] = unit.rates.rates(at.date())
        return known[at.date()]

    return rates
