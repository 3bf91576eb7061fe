"""What happened to goods as catalogue text; see `diary` for the way back."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from service.builds.amounts import base_unit
from service.exchange.catalogue import emit
from service.exchange.catalogue.diary import BACK
from service.exchange.catalogue.forms import Content, cut_text, kept, money_of
from service.exchange.catalogue.values import plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from service.model.book import Book
    from service.model.catalogue import Part
    from service.model.orders import Movement, Offcut, Order, OrderBill, OrderLine, Purchase, Step


def diary_texts(book: Book) -> Iterator[str]:
    """Orders, purchases in the order of booking, movements, offcuts."""
    parts = {part.key: part for part in book.parts}
    lines = {x.purchase: (n, x) for order in book.orders for n, x in _numbered(order)}
    for order in book.orders:
        bills = [bill for bill in book.bills if bill.order == order.key]
        yield emit.table(f"[order.{emit.key(order.key)}]", _order(order, bills))
    for place, purchase in enumerate(book.purchases):
        content = _purchase(purchase, parts.get(purchase.part), lines.get(place))
        yield emit.table("[[purchase]]", content)
    for movement in book.movements:
        yield emit.table("[[movement]]", _movement(movement, parts))
    for offcut in book.offcuts:
        yield emit.table("[[offcut]]", _offcut(offcut))


def _numbered(order: Order) -> Iterator[tuple[int | None, OrderLine]]:
    """Numbers only where the lines do not stand in the order of booking."""
    places = [line.purchase for line in order.lines]
    told = places != sorted(places)
    yield from ((n if told else None, line) for n, line in enumerate(order.lines, 1))


def _day(on: date | None) -> date | None:
    """What was booked without a day has none."""
    return None if on == date.min else on


def _order(order: Order, bills: Sequence[OrderBill]) -> Content:
    return kept(
        {
            "on": _day(order.on),
            "supplier": order.supplier,
            "estimate": money_of(order.estimate),
            "note": order.note,
            "bill": [_bill(bill) for bill in bills],
        }
    )


def _bill(bill: OrderBill) -> Content:
    cost = money_of(bill.cost)
    return kept({"what": bill.kind, "cost": cost, "on": _day(bill.on), "note": bill.note})


def _purchase(
    purchase: Purchase, part: Part | None, told: tuple[int | None, OrderLine] | None
) -> Content:
    number, line = told or (None, None)
    content = kept(
        {
            "part": purchase.part,
            "supplier": purchase.supplier,
            "count": plain(purchase.count),
            "sold_as": part and f"{plain(purchase.content)} {base_unit(part)}",
            "total": money_of(purchase.total),
            "debited": money_of(purchase.debited),
            "on": purchase.on,
            "order": purchase.order,
            "condition": None if purchase.condition == "new" else purchase.condition,
            "line": number,
            "listing": line.listing if line else None,
        }
    )
    # an empty list says: ordered, and nothing has happened yet
    return content if line is None else content | {"happened": [_step(x) for x in line.steps]}


def _step(step: Step) -> Content:
    return kept(
        {
            "what": step.kind,
            "on": _day(step.on),
            "count": plain(step.count) if step.count else None,
            "money": money_of(step.money),
            "postage": money_of(step.postage),
            "note": step.note,
        }
    )


def _movement(entry: Movement, parts: Mapping[str, Part]) -> Content:
    back = entry.kind == "used" and entry.amount < 0
    return kept(
        {
            "part": entry.part,
            "what": BACK if back else entry.kind,
            "amount": _amount(abs(entry.amount), parts.get(entry.part)),
            "on": _day(entry.on),
            "build": entry.build,
            "to": entry.to,
            "repair": entry.repair or None,
            "money": money_of(entry.money),
            "postage": money_of(entry.postage),
            "note": entry.note,
        }
    )


def _amount(amount: Decimal, part: Part | None) -> str | None:
    return f"{plain(amount)} {base_unit(part)}" if amount and part else None


def _offcut(offcut: Offcut) -> dict[str, Any]:
    return {"part": offcut.part, "cut": cut_text(offcut.cut)}
