"""A build as a sheet: its cost with names and grounds, over time, beside its versions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from service.builds.cost import BuildCost, LineCost, price_build
from service.builds.cost_json import cost_to_json, time_text
from service.builds.view import PriceView
from service.errors import NotFoundError
from service.flows.load import moment, price_view
from service.flows.ports import Deps, Unit
from service.flows.views.common import (
    WORTH_A_TAG,
    by_listing,
    days_not_lower,
    doubt_row,
    doubts_of,
    money,
)
from service.model.builds import Build
from service.model.catalogue import Part, Supplier

POINTS = 60  # of a cost series


def build_sheet(deps: Deps, key: str, at: str | None = None) -> dict[str, Any]:
    """The object of `reprice` with names, tags and grounds for every line."""
    when = moment(at, deps)
    with deps.store.read() as unit:
        build = need_build(unit, key)
        view = price_view(unit, deps, when)
        cost = price_build(build, view)
        found = cost_to_json(cost)
        extras = _extras(unit, cost, view)
        for row, line in zip(found["lines"], cost.lines, strict=True):
            row |= _named(line, view.parts, view.suppliers) | extras.get(_id(line), {})
        return found | {
            "name": build.name,
            "need_by": build.need_by.isoformat() if build.need_by else None,
            "budget": None if build.budget is None else money(build.budget, build.currency),
            "base": build.base,
            "own": build.base is None,
            "state": build.state,
            "versions": [b.key for b in view.builds.values() if b.base == (build.base or key)],
            "pages": len({x.listing.key for x in cost.lines if x.listing}),
            "suppliers": len({x.listing.supplier for x in cost.lines if x.listing}),
            "oldest_hours": _oldest(cost),
            "rate_days": sorted({x.rate_day.isoformat() for x in cost.lines if _foreign(x, cost)}),
        }


def need_build(unit: Unit, key: str) -> Build:
    """NotFoundError names what there is."""
    found = unit.catalogue.build(key)
    if found is None:
        raise NotFoundError(f'no build "{key}"')
    return found


def _id(line: LineCost) -> int:
    return line.listing.id if line.listing else 0


def _foreign(line: LineCost, cost: BuildCost) -> bool:
    return line.rate_day is not None and line.currency != cost.currency


def _oldest(cost: BuildCost) -> float | None:
    ages = [line.age for line in cost.lines if line.age is not None]
    return round(max(ages).total_seconds() / 3600, 2) if ages else None


def _named(
    line: LineCost, parts: Mapping[str, Part], suppliers: Mapping[str, Supplier]
) -> dict[str, Any]:
    shop = suppliers.get(line.listing.supplier) if line.listing else None
    part = parts.get(line.part or "")
    return {
        "name": part.name if part else line.name,
        "supplier_name": shop.name if shop else None,
        "url": line.listing.url if line.listing else None,
        "rate_day": line.rate_day.isoformat() if line.rate_day and line.rate != 1 else None,
        "spec": dict(part.spec) if part else {},
    }


def _extras(unit: Unit, cost: BuildCost, view: PriceView) -> dict[int, dict[str, Any]]:
    """By listing: what is held back, for how long it was no lower, where the price stood."""
    ids = [line.listing.id for line in cost.lines if line.listing]
    states, doubts = unit.polls.states(ids), doubts_of(unit, ids)
    spells = by_listing(unit.log.spells(ids, view.at - timedelta(days=366)))
    found: dict[int, dict[str, Any]] = {}
    for listing in ids:
        known = [s for s in spells.get(listing, []) if s.first_seen <= view.at]
        days = days_not_lower(known, view.at)
        state = states.get(listing)
        found[listing] = {
            "low_days": days if days is not None and days >= WORTH_A_TAG else None,
            "doubt": doubt_row(doubts.get(listing)),
            "evidence": [dict(item) for item in state.evidence] if state else [],
            "seen_at": time_text(view.prices[listing].seen_at) if listing in view.prices else None,
        }
    return found


def build_series(deps: Deps, key: str, days: int = 365) -> dict[str, Any]:
    """What the build cost over time, complete or not, at most POINTS points."""
    with deps.store.read() as unit:
        build = need_build(unit, key)
        now = deps.clock()
        view = price_view(unit, deps, now)
        lines = price_build(build, view).lines
        ids = [line.listing.id for line in lines if line.listing]
        start = max(now - timedelta(days=days), _first(unit, ids, now))
        step = (now - start) / POINTS
        points = [_point(unit, build, view, start + step * n) for n in range(1, POINTS + 1)]
    return {"build": key, "currency": build.currency, "points": [p for p in points if p]}


def _first(unit: Unit, ids: list[int], now: datetime) -> datetime:
    return min((spell.first_seen for spell in unit.log.spells(ids)), default=now)


def _point(unit: Unit, build: Build, view: PriceView, at: datetime) -> dict[str, Any] | None:
    then = replace(
        view, at=at, prices=unit.log.as_of(at), rates=unit.rates.rates(at.date()), on_hand={}
    )
    totals = price_build(build, then).totals
    if not totals.share:
        return None
    share: Decimal = totals.share
    return {
        "at": time_text(at),
        "share": money(share, build.currency),
        "complete": totals.complete,
    }


def versions(deps: Deps, key: str) -> dict[str, Any]:
    """A build and what derives from it, side by side: cost and mass by group, what changed."""
    with deps.store.read() as unit:
        build = need_build(unit, key)
        root = build.base or key
        view = price_view(unit, deps, deps.clock())
        members = [b for b in view.builds.values() if root in (b.key, b.base)]
        costs = [price_build(member, view) for member in members]
        return {
            "build": root,
            "name": view.builds[root].name if root in view.builds else root,
            "currency": build.currency,
            "columns": [_column(m, c) for m, c in zip(members, costs, strict=True)],
            "groups": list(dict.fromkeys(name for cost in costs for name, _ in cost.groups)),
            "changes": {m.key: _changes(m, view.parts) for m in members},
        }


def _column(build: Build, cost: BuildCost) -> dict[str, Any]:
    found = cost_to_json(cost)
    return {
        "build": build.key,
        "name": build.name,
        "currency": build.currency,
        "base": build.base,
        "groups": {row["group"]: row for row in found["groups"]},
        "totals": found["totals"],
    }


def _changes(build: Build, parts: Mapping[str, Part]) -> list[dict[str, Any]]:
    def name(key: str | None) -> str | None:
        return parts[key].name if key in parts else key

    return [{"old": name(change.old), "new": name(change.new)} for change in build.replace]
