"""Suppliers: their pages and visits, what they promise and how long they took."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from statistics import median
from typing import Any

from service.errors import NotFoundError
from service.flows.ports import Deps, ListingState
from service.flows.views.common import money
from service.model.catalogue import Listing, Supplier
from service.model.orders import Order
from service.model.times import time_text

GOOD = ("ok", "unchanged")


def suppliers(deps: Deps) -> list[dict[str, Any]]:
    """Every supplier with the state of its pages."""
    with deps.store.read() as unit:
        shops = unit.catalogue.suppliers()
        listings = unit.catalogue.listings()
        states = unit.polls.states([x.id for x in listings])
        took = days_taken(unit.orders.all())
    by_shop: dict[str, list[Listing]] = {key: [] for key in shops}
    for listing in listings:
        by_shop.setdefault(listing.supplier, []).append(listing)
    where = deps.destination
    return [
        {**_row(shop, by_shop[shop.key], states), **_days(shop, took.get(shop.key, []), where)}
        for shop in shops.values()
    ]


def days_taken(orders: Sequence[Order]) -> dict[str, list[int]]:
    """By supplier how many days each order took until its last part was here.

    Only orders of which nothing is awaited any more; those fetched on the day say nothing
    of delivery.
    """
    found: dict[str, list[int]] = {}
    for order in orders:
        came = [s.on for line in order.lines for s in line.steps if s.kind == "arrived"]
        done = all({"arrived", "cancelled"} & {s.kind for s in line.steps} for line in order.lines)
        if order.supplier and came and done and order.on != date.min and max(came) > order.on:
            found.setdefault(order.supplier, []).append((max(came) - order.on).days)
    return found


def _days(shop: Supplier, took: Sequence[int], destination: str | None) -> dict[str, Any]:
    """What the shop promises to where the user is, and what its orders took."""
    rows = [row for row in shop.shipping if row.days and row.to in (destination, "*")]
    rows.sort(key=lambda row: row.to == "*")
    return {
        "days_promised": rows[0].days if rows else None,
        "days_taken": round(median(took)) if took else None,
        "days_longest": max(took, default=None),
        "orders_arrived": len(took),
    }


def _row(
    shop: Supplier, listings: Sequence[Listing], states: Mapping[int, ListingState]
) -> dict[str, Any]:
    known = [states[x.id] for x in listings if x.id in states]
    outcomes = Counter(s.last_outcome for s in known if s.last_outcome)
    visits = [s.last_visit_at for s in known if s.last_visit_at]
    due = [s.next_due_at for s in known]
    bad = [s for s in known if s.last_outcome and s.last_outcome not in GOOD]
    return {
        "supplier": shop.key,
        "name": shop.name,
        "home": shop.home,
        "country": shop.country,
        "currency": shop.currency,
        "prices": shop.prices,
        "listings": len(listings),
        "outcomes": dict(outcomes),
        "trouble": len(bad),
        "trouble_reason": bad[0].last_reason or bad[0].last_outcome if bad else None,
        "last_visit_at": _time(max(visits, default=None)),
        "next_due_at": _time(min(due, default=None)),
        "shipping": [_shipping(shop, n) for n in range(len(shop.shipping))],
        "min_gap_seconds": int(shop.min_gap.total_seconds()) if shop.min_gap else None,
        "min_order": money(shop.min_order, shop.currency or deps_currency(shop)),
        "note": shop.contact_note,
    }


def deps_currency(shop: Supplier) -> str:
    """The currency of a supplier that names none."""
    return shop.currency or "EUR"


def _shipping(shop: Supplier, index: int) -> dict[str, Any]:
    row, currency = shop.shipping[index], deps_currency(shop)
    return {
        "to": row.to,
        "fee": money(row.fee, currency),
        "free_from": money(row.free_from, currency),
        "days": row.days,
        "currency": currency,
    }


def _time(at: datetime | None) -> str | None:
    return None if at is None else time_text(at)


def supplier(deps: Deps, key: str) -> dict[str, Any]:
    """One supplier with its pages and their last visits."""
    with deps.store.read() as unit:
        shop = unit.catalogue.suppliers().get(key)
        if shop is None:
            raise NotFoundError(f'no supplier "{key}"')
        listings = [x for x in unit.catalogue.listings() if x.supplier == key]
        ids = [x.id for x in listings]
        states, parts = unit.polls.states(ids), unit.catalogue.parts()
        prices = unit.log.as_of(deps.clock(), ids)
        pages = []
        for listing in listings:
            state, now = states.get(listing.id), prices.get(listing.id)
            first = listing.supplies[0].part
            pages.append(
                {
                    "listing": listing.key,
                    "url": listing.url,
                    "part": first,
                    "name": parts[first].name if first in parts else first,
                    "outcome": state.last_outcome if state else None,
                    "reason": state.last_reason if state else None,
                    "visited_at": _time(state.last_visit_at if state else None),
                    "next_due_at": _time(state.next_due_at if state and listing.url else None),
                    "price": money(now.offer.price, now.offer.currency) if now else None,
                    "currency": now.offer.currency if now else None,
                    "availability": now.offer.availability.value if now else None,
                }
            )
        took = days_taken(unit.orders.all()).get(key, [])
        days = _days(shop, took, deps.destination)
        return {**_row(shop, listings, states), **days, "pages": pages}
