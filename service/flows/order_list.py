"""Orders as they stand: lines with their states, bills, and how far the estimate was off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

from service.builds.cents import number_text, to_cents
from service.builds.portions import NONE, portions
from service.builds.workshop import Books
from service.errors import InputError, NotFoundError
from service.flows.books import books_at, day_of
from service.flows.names import last_instant
from service.flows.ports import Deps, Unit
from service.model.money import Money, money_text
from service.model.orders import Order, OrderBill, OrderLine, Purchase, Step


def need_order(unit: Unit, key: str) -> Order:
    """NotFoundError names the orders that there are."""
    found = next((one for one in every_order(unit) if one.key == key), None)
    if found is None:
        known = ", ".join(one.key for one in every_order(unit)) or "none yet"
        raise NotFoundError(f'no order "{key}"; there are: {known}')
    return found


def every_order(unit: Unit) -> list[Order]:
    """Orders, with purchases that name one but were booked apart: those are here already."""
    found = {one.key: one for one in unit.orders.all()}
    inside = {line.purchase for one in found.values() for line in one.lines}
    for purchase in unit.purchases.all():
        if purchase.order and purchase.id not in inside:
            on = purchase.on or date.min
            line = OrderLine(purchase.id, (Step("arrived", on, purchase.count),))
            old = found.get(purchase.order) or Order(purchase.order, on, purchase.supplier)
            day = min(old.on, on)
            found[purchase.order] = replace(old, on=day, lines=(*old.lines, line))
    return sorted(found.values(), key=lambda one: (one.on, one.key))


def warnings_of(unit: Unit, deps: Deps) -> list[str]:
    """What does not add up today."""
    return books_at(unit, deps, day_of(deps.clock(), deps)).statement.warnings


def orders(deps: Deps, *, only_open: bool = False) -> list[dict[str, Any]]:
    """Every order with its lines and bills, oldest first; `only_open`: not all of it is here."""
    with deps.store.read() as unit:
        now = books_at(unit, deps, day_of(deps.clock(), deps))
        found = [as_json(unit, deps, one, now=now) for one in every_order(unit)]
    waiting = ("ordered", "part arrived", "wrong")
    return [o for o in found if not only_open or any(x["state"] in waiting for x in o["lines"])]


def order(deps: Deps, key: str) -> dict[str, Any]:
    """One order with its lines and bills. NotFoundError."""
    with deps.store.read() as unit:
        return as_json(unit, deps, need_order(unit, key))


def as_json(
    unit: Unit,
    deps: Deps,
    order: Order,
    before: Sequence[str] | None = None,
    now: Books | None = None,
) -> dict[str, Any]:
    """An order as it stands. `before`: warnings that there were already; `now`: today's books."""
    found = now or books_at(unit, deps, day_of(deps.clock(), deps))
    bought = {p.id: p for p in found.known.purchases}
    bills = [one for one in found.known.bills if one.order == order.key]
    warnings = found.statement.warnings
    fresh = [] if before is None else [text for text in warnings if text not in before]
    return {
        "order": order.key,
        "supplier": order.supplier,
        "on": None if order.on == date.min else order.on.isoformat(),
        "lines": [_line_json(line, bought[line.purchase]) for line in order.lines],
        "bills": [_bill_json(one) for one in bills],
        "total": _total(order, bought, bills, unit, deps),
        "estimate": _text(order.estimate),
        **_error(order, bills, unit, deps),
        "note": order.note or None,
        "warnings": fresh,
    }


def _line_json(line: OrderLine, purchase: Purchase) -> dict[str, Any]:
    state = portions(line, purchase.count)
    refunds = [step.money for step in line.steps if step.money is not None]
    return {
        "part": purchase.part,
        "listing": line.listing,
        "count": number_text(purchase.count),
        "state": state.state,
        "arrived": number_text(state.here),
        "coming": number_text(state.coming),
        "wrong": number_text(state.wrong),
        "returned": number_text(state.returned),
        "cancelled": number_text(state.cancelled),
        "total": money_text(purchase.total.amount, purchase.total.currency),
        "currency": purchase.total.currency,
        "debited": _text(purchase.debited),
        "refunds": [str(money) for money in refunds],
    }


def _bill_json(bill: OrderBill) -> dict[str, Any]:
    return {
        "kind": bill.kind,
        "cost": money_text(bill.cost.amount, bill.cost.currency),
        "currency": bill.cost.currency,
        "on": bill.on.isoformat(),
        "note": bill.note or None,
    }


def _text(money: Money | None) -> str | None:
    return None if money is None else str(money)


def _total(
    order: Order, bought: Mapping[int, Purchase], bills: Sequence[OrderBill], unit: Unit, deps: Deps
) -> str | None:
    """What its lines and bills come to, in their currency or, where they have several, the user's.

    What was cancelled costs nothing; refunds stand beside their lines. None without a rate.
    """
    asked = [(_uncancelled(x, bought[x.purchase]), order.on) for x in order.lines]
    asked += [(bill.cost, bill.on) for bill in bills]
    codes = {money.currency for money, _ in asked}
    currency = codes.pop() if len(codes) == 1 else deps.currency
    found = [unit.rates.rates(on).convert(money, currency) for money, on in asked]
    known = [to_cents(Fraction(one), currency) for one in found if one is not None]
    if len(known) < len(found):
        return None
    return f"{money_text(sum(known, NONE), currency)} {currency}"


def _uncancelled(line: OrderLine, purchase: Purchase) -> Money:
    """What was debited for the line, less its part that was cancelled."""
    gone = portions(line, purchase.count).cancelled / purchase.count
    return Money(purchase.paid.amount * (1 - gone), purchase.paid.currency)


def _error(order: Order, bills: Sequence[OrderBill], unit: Unit, deps: Deps) -> dict[str, Any]:
    """What the late bills came to, and how far the estimate was off (below 0: too high)."""
    currency = order.estimate.currency if order.estimate else deps.currency
    late = [bill for bill in bills if bill.kind != "postage"]
    sums = [
        to_cents(Fraction(found), currency)
        for bill in late
        if (found := unit.rates.rates(bill.on).convert(bill.cost, currency)) is not None
    ]
    total = sum(sums, NONE)
    off = None if order.estimate is None or not late else total - order.estimate.amount
    return {
        "late_bills": f"{money_text(total, currency)} {currency}" if late else None,
        "estimate_error": None if off is None else f"{money_text(off, currency)} {currency}",
    }


def booked_day(deps: Deps, on: str | None) -> date:
    """The day of a booking: today where none is named. InputError for one in the future."""
    today = day_of(deps.clock(), deps)
    if on is None:
        return today
    day = day_of(last_instant(on, deps.time_zone), deps)
    if day > today:
        raise InputError(f"{on} lies in the future")
    return day
