"""Today: what fell, what needs attention, where the builds stand, what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from service.builds.cost import price_build
from service.builds.cost_json import cost_to_json, time_text
from service.builds.view import PriceView
from service.errors import InputError
from service.flows.load import price_view
from service.flows.ports import Deps, ListingState, Unit
from service.flows.views.common import by_listing, money, week_ago
from service.model.builds import Build
from service.model.catalogue import Listing
from service.model.prices import Spell, fresh_for

MOST = 12
NEEDS_EYES = ("doubtful", "not_product", "barred", "gone", "too_large", "broken", "refused")


def today(deps: Deps) -> dict[str, Any]:
    """All of the first page in one transaction."""
    now = deps.clock()
    with deps.store.read() as unit:
        view = price_view(unit, deps, now)
        states = unit.polls.states([x.id for x in view.listings])
        return {
            "empty": not view.parts and not view.builds,
            "at": time_text(now),
            "fell": _fell(unit, view, now),
            "attention": _attention(unit, view, states, now),
            "builds": _builds(unit, view, now),
            "next": _next(view, states),
            "listings": len(view.listings),
            "parts": len(view.parts),
            "spent": _spent(unit, now),
            "last_visit_at": _last(states),
        }


def _last(states: Mapping[int, ListingState]) -> str | None:
    seen = [s.last_visit_at for s in states.values() if s.last_visit_at]
    return time_text(max(seen)) if seen else None


def _row(view: PriceView, listing: Listing) -> dict[str, Any]:
    part = listing.supplies[0].part
    shop = view.suppliers.get(listing.supplier)
    return {
        "listing": listing.key,
        "part": part,
        "name": view.parts[part].name if part in view.parts else part,
        "supplier": listing.supplier,
        "supplier_name": shop.name if shop else listing.supplier,
    }


def _fell(unit: Unit, view: PriceView, now: datetime) -> list[dict[str, Any]]:
    """Prices that are lower than a week ago, the deepest fall first."""
    spells = by_listing(unit.log.spells([x.id for x in view.listings], week_ago(now)))
    found = []
    for listing in view.listings:
        change = _fall(spells.get(listing.id, []))
        if change is None:
            continue
        old, new = change
        depth = (old.offer.price - new.offer.price) / old.offer.price * 100
        found.append(
            {
                **_row(view, listing),
                "price": money(new.offer.price, new.offer.currency),
                "was": money(old.offer.price, old.offer.currency),
                "currency": new.offer.currency,
                "percent": f"{depth:.1f}",
                "since": time_text(new.first_seen),
            }
        )
    found.sort(key=lambda row: -Decimal(row["percent"]))
    return found[:MOST]


def _fall(spells: list[Spell]) -> tuple[Spell, Spell] | None:
    if len(spells) < 2:
        return None
    old, new = spells[0], spells[-1]
    same = old.offer.currency == new.offer.currency
    return (old, new) if same and new.offer.price < old.offer.price else None


def _attention(
    unit: Unit, view: PriceView, states: Mapping[int, ListingState], now: datetime
) -> list[dict[str, Any]]:
    """Pages that a person should look at, each with what to do."""
    doubts = {d.listing: d for d in unit.log.doubts()}
    found = []
    for listing in view.listings:
        state, doubt = states.get(listing.id), doubts.get(listing.id)
        seen = view.prices.get(listing.id)
        old = seen is not None and now - seen.seen_at > fresh_for(listing.every)
        if doubt is not None:
            row = {"kind": "doubtful", "reason": doubt.reason, "price": doubt.reading.get("price")}
        elif state is not None and state.last_outcome in NEEDS_EYES:
            row = {"kind": state.last_outcome, "reason": state.last_reason, "price": None}
        elif old and seen is not None and listing.url:
            row = {"kind": "old", "reason": time_text(seen.seen_at), "price": None}
        else:
            continue
        found.append({**_row(view, listing), **row})
    return found[: MOST * 2]


def _builds(unit: Unit, view: PriceView, now: datetime) -> list[dict[str, Any]]:
    then = week_ago(now)
    before = replace(
        view, at=then, prices=unit.log.as_of(then), rates=unit.rates.rates(then.date())
    )
    return [build_row(build, view, before) for build in view.builds.values()]


def build_row(build: Build, view: PriceView, before: PriceView) -> dict[str, Any]:
    """A build's totals and their change in a week; an unusable one says why."""
    try:
        cost, earlier = price_build(build, view), price_build(build, before)
    except InputError as error:
        return {"build": build.key, "name": build.name, "problem": str(error)}
    comparable = earlier.totals.complete or len(earlier.missing) == len(cost.missing)
    change = cost.totals.share - earlier.totals.share if comparable else None
    return {
        "build": build.key,
        "name": build.name,
        "currency": build.currency,
        "base": build.base,
        "state": build.state,
        "lines": len(cost.lines),
        "totals": cost_to_json(cost)["totals"],
        "missing": list(cost.missing),
        "change": money(change, build.currency),
        "budget": None if build.budget is None else money(build.budget, build.currency),
        "need_by": build.need_by.isoformat() if build.need_by else None,
        "problem": None,
    }


def _next(view: PriceView, states: Mapping[int, ListingState]) -> list[dict[str, Any]]:
    """The soonest visit to each supplier."""
    due: dict[str, tuple[datetime, Listing]] = {}
    for listing in view.listings:
        state = states.get(listing.id)
        if state is None or not listing.url:
            continue
        known = due.get(listing.supplier)
        if known is None or state.next_due_at < known[0]:
            due[listing.supplier] = (state.next_due_at, listing)
    soonest = sorted(due.values(), key=lambda pair: pair[0])
    return [{**_row(view, x), "at": time_text(at)} for at, x in soonest[:6]]


def _spent(unit: Unit, now: datetime) -> dict[str, Any]:
    """What was paid, by month, of the last twelve; by supplier in all that time."""
    start = (now - timedelta(days=365)).date()
    months: dict[tuple[str, str], Decimal] = {}
    shops: dict[tuple[str, str], Decimal] = {}
    for purchase in unit.purchases.all():
        if purchase.on is None or purchase.on < start:
            continue
        paid = purchase.debited or purchase.total
        month = (f"{purchase.on:%Y-%m}", paid.currency)
        months[month] = months.get(month, Decimal(0)) + paid.amount
        shop = (purchase.supplier or "elsewhere", paid.currency)
        shops[shop] = shops.get(shop, Decimal(0)) + paid.amount
    return {"months": _sums(months), "suppliers": _sums(shops)}


def _sums(found: Mapping[tuple[str, str], Decimal]) -> list[dict[str, Any]]:
    return [
        {"name": name, "total": money(total, currency), "currency": currency}
        for (name, currency), total in sorted(found.items(), reverse=True)
    ]
