"""What a build took up over time, from the price log, at today's exchange rates.

Prices are put in one after another; only the lines that they concern are reckoned again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from service.builds.all_costs import AllCosts, price_all
from service.builds.cost import price_build
from service.builds.view import PriceView
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.flows.views.builds import need_build
from service.flows.views.common import by_listing, money
from service.model.builds import Build
from service.model.catalogue import Listing
from service.model.money import quantum
from service.model.prices import PriceNow, Spell
from service.model.times import time_text

POINTS = 60
POINTS_WHOLE = 16  # for builds that must be reckoned whole at every point
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
    points = _points(build, view, spells, since, now) if spells else []
    return {
        "build": key,
        "currency": build.currency,
        "points": [
            {"at": time_text(at), "share": money(share, build.currency), "complete": complete}
            for at, share, complete in points
        ],
    }


def _view_of(unit: Unit, deps: Deps, build: Build, now: datetime) -> PriceView:
    """Only what this build may be filled from; nothing on hand."""
    whole = price_view(unit, deps, now)
    used = {line.part for line in price_build(build, whole).lines}
    chosen = [x for x in whole.listings if used & {supply.part for supply in x.supplies}]
    return replace(whole, listings=chosen, on_hand={}, purchases=())


def _start_prices(
    listings: Sequence[Listing], spells: Spells, since: datetime
) -> dict[int, PriceNow]:
    """The prices of then. A part that nobody had looked at counts at its first price."""
    found = {x: p for x, known in spells.items() if (p := price_at(x, known, since))}
    priced = {s.part for x in listings if x.id in found for s in x.supplies}
    later = [x for x in listings if x.id in spells and x.id not in found]
    for listing in sorted(later, key=lambda x: spells[x.id][0].first_seen):
        if not {supply.part for supply in listing.supplies} <= priced:
            found[listing.id] = PriceNow(listing.id, spells[listing.id][0].offer, since)
            priced |= {supply.part for supply in listing.supplies}
    return found


def _points(
    build: Build, view: PriceView, spells: Spells, since: datetime, now: datetime
) -> Iterator[tuple[datetime, Decimal, bool]]:
    then = _start_prices(view.listings, spells, since)
    costs = price_all([build], replace(view, at=since, prices=then))
    step = quantum(build.currency)
    changes = sorted(
        (spell for known in spells.values() for spell in known if since < spell.first_seen <= now),
        key=lambda spell: spell.first_seen,
    )
    moments = [spell.first_seen for spell in changes]
    moments = _thinned(moments, POINTS_WHOLE if costs.odd else POINTS)
    place = 0
    for at in [since, *moments, now]:
        place = _put_in(costs, changes, place, at)
        total = costs.totals()[build.key]
        yield at, total.share * step, total.complete


def _thinned(moments: list[datetime], most: int) -> list[datetime]:
    step = max(1, -(-len(moments) // most))
    return moments[::step]


def _put_in(costs: AllCosts, changes: Sequence[Spell], place: int, at: datetime) -> int:
    """The newest price of each listing up to `at`; answers how many changes are used up."""
    newest: dict[int, Spell] = {}
    while place < len(changes) and changes[place].first_seen <= at:
        newest[changes[place].listing] = changes[place]
        place += 1
    for listing, spell in newest.items():
        costs.change(PriceNow(listing, spell.offer, spell.first_seen))
    return place


def price_at(listing: int, known: Sequence[Spell], at: datetime) -> PriceNow | None:
    """The offer that was in force, as when it was last confirmed by then; it is never old."""
    index = bisect_right(known, at, key=lambda spell: spell.first_seen)
    return PriceNow(listing, known[index - 1].offer, at) if index else None
