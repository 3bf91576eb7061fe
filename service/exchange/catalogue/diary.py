"""`[order.KEY]`, `[[movement]]`, `[[offcut]]`: what happened to goods, for a book carried whole."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from scrapers import Amount
from service.errors import InputError
from service.exchange.catalogue import values as v
from service.exchange.catalogue.builds import cut as read_cut
from service.exchange.catalogue.draft import Found, MovementDraft
from service.exchange.catalogue.measure import in_base
from service.model.orders import Movement, Offcut, Order, OrderBill, OrderLine, Step

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from service.exchange.catalogue.bought import Lookup
    from service.exchange.catalogue.draft import Draft, PurchaseDraft
    from service.exchange.catalogue.table import Table
    from service.model.orders import BillKind, MovementKind, Purchase, StepKind

STEPS: Final[tuple[StepKind, ...]] = ("arrived", "wrong", "cancelled", "returned", "refunded")
BILLS: Final[tuple[BillKind, ...]] = ("postage", "customs", "carrier", "fee")
BACK: Final = "back"  # used, the other way
MOVES: Final[tuple[MovementKind, ...]] = ("used", "moved", "sold", "written off", "good")
_NOTE: Final = 2000


def order_key(raw: Any) -> str:
    """The number of an order, as the shop writes it."""
    return v.words(80)(raw)


def read_order(key: str, table: Table) -> tuple[Order, tuple[OrderBill, ...]]:
    """An order without its lines, and what was asked for it as a whole."""
    bills = tuple(_bill(key, row) for row in table.tables("bill"))
    order = Order(
        key,
        table.get("on", v.day, date.min),
        table.maybe("supplier", v.key),
        estimate=table.maybe("estimate", v.sum_of_money),
        note=table.get("note", v.words(_NOTE, lines=True), ""),
    )
    table.done()
    return order, tuple(bill for bill in bills if bill is not None)


def _bill(order: str, row: Table) -> OrderBill | None:
    kind = _kind(row, BILLS)
    cost = row.maybe("cost", v.sum_of_money)
    if cost is None and "cost" not in row.data:
        row.problem('missing; write such as cost = "12.50 EUR"', "cost")
    on, note = row.get("on", v.day, date.min), row.get("note", v.words(_NOTE, lines=True), "")
    row.done()
    return None if kind is None or cost is None else OrderBill(order, kind, cost, on, note)


def _kind(row: Table, kinds: Sequence[Any], key: str = "what") -> Any:
    hint = f"write one of {', '.join(kinds)}"
    found = row.need(key, v.one_of(*kinds), "", hint)
    return found or None


def read_steps(table: Table) -> tuple[Step, ...] | None:
    """What happened to a line of an order, in time order; None: the purchase is no such line."""
    if not table.has("happened"):
        return None
    steps = [_step(row) for row in table.tables("happened")]
    return tuple(step for step in steps if step is not None)


def _step(row: Table) -> Step | None:
    kind = _kind(row, STEPS)
    step = Step(
        kind or "arrived",
        row.get("on", v.day, date.min),
        row.get("count", v.number, Decimal(0)),
        row.maybe("money", v.sum_of_money),
        row.maybe("postage", v.sum_of_money),
        row.get("note", v.words(_NOTE, lines=True), ""),
    )
    row.done()
    return step if kind else None


def read_movement(table: Table) -> MovementDraft:
    """What a part did, its amount not yet in the part's base unit."""
    kind = _kind(table, (*MOVES, BACK))
    amount = table.maybe("amount", v.amount)
    if amount is None and kind != "good" and not table.has("amount"):
        table.problem('missing; write such as amount = "150 g"', "amount")
    entry = Movement(
        part=table.need("part", v.key, "", "name the part that it was"),
        kind=next((known for known in MOVES if known == kind), "used"),
        amount=Decimal(0),
        on=table.get("on", v.day, date.min),
        build=table.maybe("build", v.key),
        to=table.maybe("to", v.key),
        repair=table.get("repair", v.flag, False),
        money=table.maybe("money", v.sum_of_money),
        postage=table.maybe("postage", v.sum_of_money),
        note=table.get("note", v.words(_NOTE, lines=True), ""),
    )
    _check(table, entry)
    table.done()
    return MovementDraft(entry, amount, back=kind == BACK)


def _check(table: Table, entry: Movement) -> None:
    if entry.kind in ("used", "moved") and entry.build is None:
        table.problem("missing; name the build", "build")
    if entry.kind == "moved" and entry.to is None:
        table.problem("missing; name the build that has it now", "to")


def read_offcut(table: Table) -> Offcut:
    """Bodies that are left, of one size."""
    part = table.need("part", v.key, "", "name the part that it is of")
    cut = table.need("cut", read_cut, None, 'write such as cut = "300 mm x 400 mm x 2"')
    table.done()
    return Offcut(part, cut or read_cut("1 mm x 1"))


@dataclass(slots=True)
class Diary:
    """Orders with their lines, bills, movements and offcuts, references followed."""

    orders: list[Order] = field(default_factory=list)
    bills: list[OrderBill] = field(default_factory=list)
    movements: list[Movement] = field(default_factory=list)
    offcuts: list[Offcut] = field(default_factory=list)


def diary_of(
    draft: Draft, booked: Sequence[tuple[Purchase, Found[PurchaseDraft]]], index: Lookup
) -> Diary:
    """What the files say of orders and of the workshop. `booked`: each purchase with where it
    stands; an order's line names its place among them.
    """
    lines = _lines(booked, draft, index)
    found = Diary()
    for one in draft.orders:
        order, bills = one.value
        if order.supplier is not None:
            index.unknown(f"{one.where}.supplier", "supplier", order.supplier, index.suppliers)
        found.orders.append(replace(order, lines=tuple(lines.get(order.key, ()))))
        found.bills += bills
    found.movements = [_movement(one, index) for one in draft.movements]
    for cut in draft.offcuts:
        index.unknown(f"{cut.where}.part", "part", cut.value.part, index.parts)
        found.offcuts.append(cut.value)
    return found


def _lines(
    booked: Sequence[tuple[Purchase, Found[PurchaseDraft]]], draft: Draft, index: Lookup
) -> Mapping[str, list[OrderLine]]:
    known = {one.value[0].key for one in draft.orders}
    found: defaultdict[str, list[tuple[int, OrderLine]]] = defaultdict(list)
    told: set[int] = set()
    for place, (purchase, source) in enumerate(booked):
        steps = source.value.happened
        if steps is None:
            continue
        if purchase.order not in known:
            index.problems.add(
                f"{source.where}.happened",
                f'is of a line of an order; define [order."{purchase.order or "KEY"}"] and name it',
            )
        if id(source) in told:  # a set's money was booked once
            steps = tuple(replace(step, money=None, postage=None) for step in steps)
        told.add(id(source))
        line = OrderLine(place, steps, _listing(source.value, index))
        found[purchase.order or ""].append((source.value.line, line))
    by_line = {key: sorted(rows, key=lambda row: row[0]) for key, rows in found.items()}
    return {key: [line for _, line in rows] for key, rows in by_line.items()}


def _listing(draft: PurchaseDraft, index: Lookup) -> str | None:
    """By its key where it is known; a page that was removed since keeps its name."""
    named = index.names.get(draft.listing or "", ())
    return named[0].key if len(named) == 1 else draft.listing


def _movement(found: Found[MovementDraft], index: Lookup) -> Movement:
    entry, where = found.value.entry, found.where
    for name, build in (("build", entry.build), ("to", entry.to)):
        if build is not None:
            index.unknown(f"{where}.{name}", "build", build, index.builds)
    if index.unknown(f"{where}.part", "part", entry.part, index.parts):
        return entry
    index.amount(f"{where}.amount", entry.part, found.value.amount)
    amount = _base(index, entry.part, found.value.amount)
    return replace(entry, amount=-amount if found.value.back else amount)


def _base(index: Lookup, part: str, amount: Amount | None) -> Decimal:
    known = index.parts.get(part)
    return (in_base(known, amount) if known and amount else None) or Decimal(0)


def dismissed(raw: Any) -> str:
    """The name of a companion rule."""
    return v.words(120)(raw)


def companion_rules(raw: Any) -> str:
    """The user's companion rules, kept to the letter. InputError: they cannot be read."""
    from service.builds.companions import builtin_rules, read_rules  # noqa: PLC0415  start-up

    if not isinstance(raw, str):
        raise InputError("must be the text of a file of companion rules")
    read_rules(raw, builtin_rules())
    return raw
