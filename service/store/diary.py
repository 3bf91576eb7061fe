"""What happened to goods, out of a book and into one: orders, bills, movements, offcuts."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, select

from service.model.book import DISMISSED, RULES
from service.store import tables
from service.store.bulk import upsert
from service.store.orders import Orders
from service.store.purchases import Purchases
from service.store.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from service.model.book import Book
    from service.model.orders import Offcut, Order, OrderLine, Purchase


def diary_of(conn: Connection, purchases: Sequence[Purchase]) -> dict[str, Any]:
    """The fields of a `Book` beside its catalogue; lines name places in `purchases`."""
    place = {purchase.id: number for number, purchase in enumerate(purchases)}
    orders, workshop = Orders(conn), Workshop(conn)
    return {
        "orders": tuple(
            replace(one, lines=tuple(replace(x, purchase=place[x.purchase]) for x in one.lines))
            for one in orders.all()
        ),
        "bills": tuple(replace(one, id=0) for one in orders.bills()),
        "movements": tuple(replace(one, id=0) for one in workshop.movements()),
        "offcuts": tuple(replace(one, id=0) for one in workshop.offcuts()),
        "dismissed": _dismissed(conn),
        "companion_rules": _setting(conn, RULES) or "",
    }


def save_diary(conn: Connection, book: Book) -> int:
    """Book what is not booked yet; answers how many things changed.

    Orders are known by their key, and take what the book says of their lines; equal bills
    and movements are told apart by their count; the offcuts of a part are all that it has.
    """
    orders, workshop = Orders(conn), Workshop(conn)
    ids = Purchases(conn).ids(book.purchases) if book.orders else []
    bought = [replace(one, id=n) for one, n in zip(book.purchases, ids, strict=bool(ids))]
    return (
        sum(_save_order(orders, one, bought) for one in book.orders)
        + _add_new(book.bills, [replace(one, id=0) for one in orders.bills()], orders.add_bill)
        + _add_new(
            book.movements, [replace(one, id=0) for one in workshop.movements()], workshop.add
        )
        + _save_offcuts(workshop, book.offcuts)
        + _save_settings(conn, book)
    )


def _save_order(orders: Orders, order: Order, bought: Sequence[Purchase]) -> int:
    """Lines that the book does not name stay, in their place."""
    told = {bought[x.purchase].id: _of(x, bought) for x in order.lines}
    kept = orders.get(order.key)
    before = {line.purchase: line for line in kept.lines} if kept else {}
    lines = tuple((before | told).values())
    if kept == replace(order, lines=lines):
        return 0
    counts = {one.id: one for one in bought}
    mine = [counts[line.purchase] for line in lines if line.purchase in counts]
    mine += orders.purchases([x.purchase for x in lines if x.purchase not in counts])
    orders.save(replace(order, lines=lines), mine)
    return 1


def _of(line: OrderLine, bought: Sequence[Purchase]) -> OrderLine:
    return replace(line, purchase=bought[line.purchase].id)


def _add_new(told: Iterable[Any], known: Iterable[Any], add: Callable[[Any], int]) -> int:
    left, added = Counter(known), 0
    for one in told:
        if left[one]:
            left[one] -= 1
        else:
            add(one)
            added += 1
    return added


def _save_offcuts(workshop: Workshop, offcuts: Sequence[Offcut]) -> int:
    kept, told = _by_part(workshop.offcuts()), _by_part(offcuts)
    changed = [key for key in told if Counter(told[key]) != Counter(kept.get(key, []))]
    for key in changed:
        workshop.set_offcuts(key, told[key])
    return len(changed)


def _by_part(offcuts: Iterable[Offcut]) -> dict[str, list[Offcut]]:
    found: dict[str, list[Offcut]] = {}
    for one in offcuts:
        found.setdefault(one.part, []).append(replace(one, id=0))
    return found


def _dismissed(conn: Connection) -> dict[str, tuple[str, ...]]:
    table = tables.setting
    query = select(table.c.name, table.c.value).where(table.c.name.startswith(DISMISSED))
    rows = sorted((row[0], row[1]) for row in conn.execute(query))
    found = {name.removeprefix(DISMISSED): tuple(json.loads(text)) for name, text in rows}
    return {build: rules for build, rules in found.items() if rules}


def _save_settings(conn: Connection, book: Book) -> int:
    kept = _dismissed(conn)
    rows = [
        {"name": f"{DISMISSED}{build}", "value": json.dumps(list(rules))}
        for build, rules in book.dismissed.items()
        if set(rules) != set(kept.get(build, ()))
    ]
    if book.companion_rules and book.companion_rules != _setting(conn, RULES):
        rows.append({"name": RULES, "value": book.companion_rules})
    upsert(conn, tables.setting, rows)
    return len(rows)


def _setting(conn: Connection, name: str) -> str | None:
    table = tables.setting
    found: str | None = conn.scalar(select(table.c.value).where(table.c.name == name))
    return found
