"""Today: what fell, what needs attention, where the builds stand, what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

from service.builds.all_costs import AllCosts, price_all
from service.builds.bulk import Total
from service.builds.versions import resolve
from service.builds.view import PriceView
from service.errors import InputError
from service.flows.books import books_at, day_of
from service.flows.load import price_view
from service.flows.ports import Deps, ListingState, Unit
from service.flows.views.common import by_listing, money, week_ago
from service.model.builds import Build
from service.model.catalogue import Listing
from service.model.money import quantum
from service.model.prices import PriceNow, Spell, fresh_for
from service.model.times import time_text

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
            "spent": _spent(unit, view, now) | _by_build(unit, deps, view, now),
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
    """Every build with its totals now, and what moved in a week at today's exchange rates."""
    good, bad = _resolved(view)
    costs = price_all(good.values(), view)
    totals = costs.totals()
    _put_back(costs, view, unit.log.as_of(week_ago(now)))
    before = costs.totals()
    return [
        bad[key] if key in bad else _build_row(build, good[key], totals[key], before[key])
        for key, build in view.builds.items()
    ]


def _resolved(view: PriceView) -> tuple[dict[str, Build], dict[str, dict[str, Any]]]:
    """Builds with all their lines; those that cannot be made out, with the reason."""
    good: dict[str, Build] = {}
    bad: dict[str, dict[str, Any]] = {}
    for key, build in view.builds.items():
        try:
            good[key] = resolve(build, view.builds)
        except InputError as error:
            bad[key] = {"build": key, "name": build.name, "base": build.base}
            bad[key]["problem"] = str(error)
    return good, bad


def _put_back(costs: AllCosts, view: PriceView, then: Mapping[int, PriceNow]) -> None:
    """The prices of then where they were others; what is not known of then stays."""
    for listing, old in then.items():
        new = view.prices.get(listing)
        if new is not None and new.offer != old.offer:
            costs.change(replace(new, offer=old.offer))


def _build_row(build: Build, whole: Build, now: Total, before: Total) -> dict[str, Any]:
    step, currency = quantum(build.currency), build.currency
    change = (now.share - before.share) * step if now.complete == before.complete else None
    return {
        "build": build.key,
        "name": build.name,
        "currency": currency,
        "base": build.base,
        "state": build.state,
        "lines": len(whole.lines),
        "totals": {
            "share": money(now.share * step, currency),
            "to_spend": money(now.to_spend * step, currency),
            "complete": now.complete,
        },
        "change": money(change, currency),
        "budget": money(build.budget, currency),
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


def _spent(unit: Unit, view: PriceView, now: datetime) -> dict[str, Any]:
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
        known = view.suppliers.get(purchase.supplier or "")
        shop = (known.name if known else purchase.supplier or "elsewhere", paid.currency)
        shops[shop] = shops.get(shop, Decimal(0)) + paid.amount
    return {"months": _sums(months), "suppliers": _sums(shops)}


def _by_build(unit: Unit, deps: Deps, view: PriceView, now: datetime) -> dict[str, Any]:
    """What builds have taken so far, at what it cost, and what lies ready or is on its way."""
    if not view.purchases:
        return {"builds": [], "waiting": None}
    books = books_at(unit, deps, day_of(now, deps))
    state, currency = books.statement, books.currency
    rows = []
    for key in sorted({build for build, _ in state.builds}):
        cost = state.cost_of(key) + state.cost_of(key, repair=True)
        name = view.builds[key].name if key in view.builds else key
        rows.append({"name": name, "total": money(cost, currency), "currency": currency})
    heaps = [*state.hand.values(), *state.coming.values()]
    waiting = sum((heap.cost for heap in heaps), Fraction(0))
    left = {"total": money(waiting, currency), "currency": currency} if waiting else None
    return {"builds": rows, "waiting": left}


def _sums(found: Mapping[tuple[str, str], Decimal]) -> list[dict[str, Any]]:
    return [
        {"name": name, "total": money(total, currency), "currency": currency}
        for (name, currency), total in sorted(found.items(), reverse=True)
    ]
