"""A build's cost as the JSON object of `ebbmark reprice`: exact texts, counts as integers."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from scrapers import format_amount
from service.builds.cents import number_text
from service.builds.cost import BuildCost, LineCost, Sums
from service.builds.landed import Landed
from service.builds.offers import hours
from service.model.money import money_text
from service.model.times import time_text


def cost_to_json(cost: BuildCost) -> dict[str, Any]:
    """Money as text with the currency's minor units, absent as None, times in UTC."""
    return {
        "build": cost.build,
        "currency": cost.currency,
        "at": time_text(cost.at),
        "destination": cost.destination,
        "lines": [_line(line, cost.currency) for line in cost.lines],
        "groups": [{"group": name} | _sums(found, cost.currency) for name, found in cost.groups],
        "totals": totals_to_json(cost),
        "missing": list(cost.missing),
        "companions": [dict(entry) for entry in cost.companions],
        "fit": [dict(entry) for entry in cost.fit],
        "warnings": list(cost.warnings),
        "cautions": list(cost.cautions),
        "orders": [_order(order) for order in cost.orders],
    }


def totals_to_json(cost: BuildCost) -> dict[str, Any]:
    """Only the sums of the whole build, for lists of builds."""
    spent = _money(cost.totals.spent, cost.currency)
    return _sums(cost.totals, cost.currency) | {"spent": spent}


def _line(line: LineCost, currency: str) -> dict[str, Any]:
    return {
        "part": line.part or line.name,
        "group": line.group,
        "amount": number_text(line.amount.value),
        "unit": line.amount.unit,
        "counts": str(line.counts),
        "listing": line.listing.key if line.listing else None,
        "supplier": line.listing.supplier if line.listing else None,
        "rule": line.rule,
        "sold_as": format_amount(line.sold_as) if line.sold_as else None,
        "price": _money(line.price, line.currency or currency),
        "currency": line.currency,
        "rate": None if line.rate is None else number_text(line.rate),
        "buy": _count(line.buy),
        "share": _money(line.share, currency),
        "to_spend": _money(line.to_spend, currency),
        "paid": _money(line.paid, currency),
        "delivered": _money(line.delivered, currency),
        "on_hand": number_text(line.on_hand),
        "mass": _number(line.mass),
        "status": line.status,
        "age_hours": None if line.age is None else hours(line.age),
        "hint": line.hint or None,
    }


def _order(order: Landed) -> dict[str, Any]:
    """An order at a supplier: its goods, and by name what comes on top of them."""
    extra = order.extra
    return {
        "supplier": order.supplier,
        "country": order.country,
        "goods": money_text(order.goods, order.currency),
        "charges": [
            {"name": one.name, "cost": money_text(one.cost, order.currency)}
            for one in order.charges
        ],
        "delivered": None if extra is None else money_text(order.goods + extra, order.currency),
        "unknown": list(order.unknown),
    }


def _sums(found: Sums, currency: str) -> dict[str, Any]:
    return {
        "share": _money(found.share, currency),
        "to_spend": _money(found.to_spend, currency),
        "paid": _money(found.paid, currency),
        "delivered": _money(found.delivered, currency),
        "mass": _number(found.mass),
        "complete": found.complete,
    }


def _money(value: Decimal | None, currency: str) -> str | None:
    return None if value is None else money_text(value, currency)


def _number(value: Decimal | None) -> str | None:
    return None if value is None else number_text(value)


def _count(value: Decimal) -> int | str:
    """An integer; only goods sold in steps are bought in parts of a unit, as text."""
    return int(value) if value == value.to_integral_value() else number_text(value)
