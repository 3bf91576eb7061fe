"""The workshop: what is on hand, on its way, low and old; orders; purchases."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from scrapers import format_amount
from service.flows import order_list
from service.flows.ports import Deps
from service.flows.stock import stock
from service.flows.views.common import money
from service.model.catalogue import Part, Supplier
from service.model.orders import Purchase

WAITING = ("ordered", "part arrived", "wrong")


def workshop(deps: Deps) -> dict[str, Any]:
    """Everything that was booked, as it stands today; orders and purchases the newest first."""
    found, orders = stock(deps), order_list.orders(deps)
    with deps.store.read() as unit:
        parts, shops = unit.catalogue.parts(), unit.catalogue.suppliers()
        bought = unit.purchases.all()
        good = {m.part: m.on for m in unit.workshop.movements() if m.kind == "good"}
        builds = [{"build": b.key, "name": b.name} for b in unit.catalogue.builds().values()]
    names = {entry["build"]: entry["name"] for entry in builds}
    return {
        "on_hand": [_hand(row, parts.get(row["part"]), good) for row in found["on_hand"]],
        "coming": found["coming"],
        "low": found["low"],
        "orders": [_order(one, parts, shops) for one in reversed(orders)],
        "builds": builds,
        "used": [{**row, "name": names.get(row["build"], row["build"])} for row in found["builds"]],
        "money": found["money"],
        "currency": found["currency"],
        "warnings": found["warnings"],
        "purchases": _purchases(bought, parts, shops),
        "spent": _spent(bought),
    }


def _hand(row: dict[str, Any], part: Part | None, good: Mapping[str, date]) -> dict[str, Any]:
    """With the least amount to keep, and the day until which the oldest of it is good."""
    until = None
    if part is not None and part.shelf_life is not None and row["oldest"]:
        since = max(date.fromisoformat(row["oldest"]), good.get(part.key, date.min))
        until = (since + part.shelf_life).isoformat()
    keep = format_amount(part.keep) if part is not None and part.keep is not None else None
    return {**row, "keep": keep, "good_until": until}


def _order(
    one: dict[str, Any], parts: Mapping[str, Part], shops: Mapping[str, Supplier]
) -> dict[str, Any]:
    shop = shops.get(one["supplier"] or "")
    lines = [
        {**line, "name": parts[line["part"]].name if line["part"] in parts else line["part"]}
        for line in one["lines"]
    ]
    waiting = any(line["state"] in WAITING for line in lines)
    name = shop.name if shop else one["supplier"]
    return {**one, "lines": lines, "supplier_name": name, "open": waiting}


def _purchases(
    bought: list[Purchase], parts: Mapping[str, Part], shops: Mapping[str, Supplier]
) -> list[dict[str, Any]]:
    return [
        {
            "part": p.part,
            "name": parts[p.part].name if p.part in parts else p.part,
            "supplier": p.supplier,
            "supplier_name": shops[p.supplier].name
            if p.supplier and p.supplier in shops
            else p.supplier,
            "count": f"{p.count.normalize():f}",
            "total": money(p.total.amount, p.total.currency),
            "debited": money(p.debited.amount, p.debited.currency) if p.debited else None,
            "currency": p.paid.currency,
            "on": p.on.isoformat() if p.on else None,
            "order": p.order,
            "condition": p.condition,
        }
        for p in sorted(bought, key=lambda p: (str(p.on or ""), p.id), reverse=True)
    ]


def _spent(bought: list[Purchase]) -> dict[str, str | None]:
    spent: dict[str, Decimal] = {}
    for purchase in bought:
        paid = purchase.paid
        spent[paid.currency] = spent.get(paid.currency, Decimal(0)) + paid.amount
    return {currency: money(total, currency) for currency, total in spent.items()}
