"""What happens to an order: arrived in parts, wrong, cancelled, sent back, refunded, billed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from service.builds.cents import number_text
from service.builds.portions import NONE, Portions, portions
from service.errors import InputError, NotFoundError
from service.flows.order_list import as_json, booked_day, need_order, warnings_of
from service.flows.ports import Deps, Unit
from service.model.money import Money
from service.model.orders import BillKind, Order, OrderBill, OrderLine, Purchase, Step, StepKind


@dataclass(frozen=True, slots=True)
class Change:
    """What happened to some or all units: of one part (or listing), or of every line."""

    part: str | None = None
    count: Decimal | None = None
    on: str | None = None
    money: Money | None = None
    postage: Money | None = None
    note: str = ""


def _open(found: Portions) -> Decimal:
    return found.coming


def _replaceable(found: Portions) -> Decimal:
    return found.coming + found.wrong + found.returned


def _doubtful(found: Portions) -> Decimal:
    return found.coming + found.here


def _returnable(found: Portions) -> Decimal:
    return found.wrong or found.here


def _all_here(found: Portions) -> Decimal:
    return found.wrong + found.here


def arrive(deps: Deps, key: str, change: Change) -> Any:
    """Units are here; beyond those on their way they replace what came wrong or went back."""
    most = _replaceable if change.part else _open
    return _happen(deps, key, "arrived", change, most=most, usual=_open)


def wrong(deps: Deps, key: str, change: Change) -> Any:
    """Units came wrong or broken, also such as were thought to be right."""
    return _happen(deps, key, "wrong", change, most=_doubtful, usual=_doubtful)


def cancel(deps: Deps, key: str, change: Change) -> Any:
    """Units that are on their way will not come and cost nothing."""
    return _happen(deps, key, "cancelled", change, most=_open, usual=_open)


def give_back(deps: Deps, key: str, change: Change) -> Any:
    """Units go back, with the postage and the refund where known; wrong ones first."""
    return _happen(deps, key, "returned", change, most=_all_here, usual=_returnable)


def _happen(
    deps: Deps,
    key: str,
    kind: StepKind,
    change: Change,
    *,
    most: Callable[[Portions], Decimal],
    usual: Callable[[Portions], Decimal],
) -> Any:
    with deps.store.write() as unit:
        order, bought = _open_order(unit, key)
        on = _step_day(deps, order, change.on)
        before = warnings_of(unit, deps)
        chosen = _chosen(order, bought, change.part)
        amounts = _amounts(order, chosen, bought, change, most, usual, kind)
        lines = list(order.lines)
        money, postage = change.money, change.postage
        for place, count in amounts.items():
            step = Step(kind, on, count, money, postage, change.note)
            state = portions(lines[place], bought[lines[place].purchase].count)
            lines[place] = replace(
                lines[place], steps=(*lines[place].steps, *_undo(step, state), step)
            )
            money = postage = None  # of the whole step, booked once
        unit.orders.save(replace(order, lines=tuple(lines)), list(bought.values()))
        return as_json(unit, deps, need_order(unit, key), before)


def _undo(step: Step, state: Portions) -> tuple[Step, ...]:
    """Wrong units that had been booked as arrived are taken back from there."""
    if step.kind != "wrong" or step.count <= state.coming:
        return ()
    return (Step("arrived", step.on, state.coming - step.count),)


def _chosen(order: Order, bought: Mapping[int, Purchase], name: str | None) -> list[int]:
    places = [
        place
        for place, line in enumerate(order.lines)
        if name in (None, bought[line.purchase].part, line.listing)
    ]
    if not places:
        parts = ", ".join(dict.fromkeys(bought[line.purchase].part for line in order.lines))
        raise NotFoundError(f'order {order.key} has no line of "{name}"; it has {parts}')
    return places


def _amounts(
    order: Order,
    chosen: Sequence[int],
    bought: Mapping[int, Purchase],
    change: Change,
    most: Callable[[Portions], Decimal],
    usual: Callable[[Portions], Decimal],
    kind: str,
) -> dict[int, Decimal]:
    """How many units of each line; InputError where there are not so many."""
    state = {n: portions(order.lines[n], bought[order.lines[n].purchase].count) for n in chosen}
    if change.count is not None and (change.part is None and len(chosen) > 1):
        raise InputError(f"order {order.key} has several lines: name the part beside the count")
    left = change.count
    found: dict[int, Decimal] = {}
    for place in chosen:
        have = usual(state[place]) if left is None else min(left, most(state[place]))
        if have > 0:
            found[place] = have
            left = None if left is None else left - have
    if not found or (left is not None and left > 0):
        have = sum((most(one) for one in state.values()), NONE)
        what = change.part or "it"
        most_of = f"only {number_text(have)}" if have else "nothing"
        raise InputError(
            f"order {order.key}: {most_of} of {what} can be booked as {kind}; how it stands: "
            f"ebbmark order show {order.key}"
        )
    return found


def refund(deps: Deps, key: str, money: Money, change: Change) -> Any:
    """Money came back for an order or one of its parts."""
    if money.amount <= 0:
        raise InputError("a refund must be more than 0")
    with deps.store.write() as unit:
        order, bought = _open_order(unit, key)
        place = _chosen(order, bought, change.part)[0]
        if change.part is None:
            back = [n for n, x in enumerate(order.lines) if _returned(x, bought)]
            place = back[0] if back else place
        line = order.lines[place]
        step = Step("refunded", _step_day(deps, order, change.on), NONE, money, note=change.note)
        lines = list(order.lines)
        lines[place] = replace(line, steps=(*line.steps, step))
        unit.orders.save(replace(order, lines=tuple(lines)), list(bought.values()))
        return as_json(unit, deps, need_order(unit, key))


def _returned(line: OrderLine, bought: Mapping[int, Purchase]) -> bool:
    return portions(line, bought[line.purchase].count).returned > 0


def bill(
    deps: Deps, key: str, kind: BillKind, cost: Money, *, on: str | None = None, note: str = ""
) -> Any:
    """Money asked for the order: customs, carrier and fees are shared over its lines by price."""
    if cost.amount <= 0:
        raise InputError("a bill must be more than 0")
    with deps.store.write() as unit:
        order, _ = _open_order(unit, key)
        unit.orders.add_bill(OrderBill(key, kind, cost, _step_day(deps, order, on), note))
        return as_json(unit, deps, need_order(unit, key))


def _step_day(deps: Deps, order: Order, on: str | None) -> date:
    day = booked_day(deps, on)
    if day < order.on:
        raise InputError(f"order {order.key} was placed on {order.on}, after {day}")
    return day


def _open_order(unit: Unit, key: str) -> tuple[Order, dict[int, Purchase]]:
    """The order as it stands; one that only purchases name is made now."""
    order = need_order(unit, key)
    ids = {line.purchase for line in order.lines}
    bought = {p.id: p for p in unit.purchases.all(cancelled=True) if p.id in ids}
    unit.orders.save(order, list(bought.values()))
    return order, bought
