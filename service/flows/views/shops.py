"""Suppliers with their visits, and the workshop: what is on hand and what was bought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from scrapers import format_amount
from service.builds.cost_json import time_text
from service.builds.view import stock_of
from service.errors import NotFoundError
from service.flows.ports import Deps, ListingState
from service.flows.views.common import money
from service.model.catalogue import Listing, Part, Supplier

GOOD = ("ok", "unchanged")


def suppliers(deps: Deps) -> list[dict[str, Any]]:
    """Every supplier with the state of its pages."""
    with deps.store.read() as unit:
        shops = unit.catalogue.suppliers()
        listings = unit.catalogue.listings()
        states = unit.polls.states([x.id for x in listings])
    by_shop: dict[str, list[Listing]] = {key: [] for key in shops}
    for listing in listings:
        by_shop.setdefault(listing.supplier, []).append(listing)
    return [_row(shop, by_shop[shop.key], states) for shop in shops.values()]


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
        return {**_row(shop, listings, states), "pages": pages}


def workshop(deps: Deps) -> dict[str, Any]:
    """What was bought and is on hand, and every purchase, the newest first."""
    with deps.store.read() as unit:
        parts, shops = unit.catalogue.parts(), unit.catalogue.suppliers()
        bought = unit.purchases.all()
        stock = stock_of(bought, deps.clock().date())
    on_hand = [
        {
            "part": key,
            "name": parts[key].name if key in parts else key,
            "amount": f"{have.free.normalize():f}",
            "unit": _base(parts[key].unit) if key in parts else "piece",
            "keep": _kept(parts.get(key)),
        }
        for key, have in stock.items()
        if have.free > 0
    ]
    purchases = [
        {
            "part": p.part,
            "name": parts[p.part].name if p.part in parts else p.part,
            "supplier": p.supplier,
            "supplier_name": shops[p.supplier].name if p.supplier in shops else p.supplier,
            "count": f"{p.count.normalize():f}",
            "total": money(p.total.amount, p.total.currency),
            "debited": money(p.debited.amount, p.debited.currency) if p.debited else None,
            "currency": p.total.currency,
            "on": p.on.isoformat() if p.on else None,
            "order": p.order,
            "condition": p.condition,
        }
        for p in sorted(bought, key=lambda p: (str(p.on or ""), p.id), reverse=True)
    ]
    spent: dict[str, Decimal] = {}
    for p in bought:
        paid = p.debited or p.total
        spent[paid.currency] = spent.get(paid.currency, Decimal(0)) + paid.amount
    sums = {currency: money(total, currency) for currency, total in spent.items()}
    return {"on_hand": on_hand, "purchases": purchases, "spent": sums}


def _kept(part: Part | None) -> str | None:
    return format_amount(part.keep) if part is not None and part.keep is not None else None


def _base(unit: str) -> str:
    return {"kg": "g", "pair": "piece", "cm": "m", "mm": "m", "cm2": "m2", "l": "ml"}.get(
        unit, unit
    )
