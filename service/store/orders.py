"""Orders with their lines, and the bills asked for them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import Connection, insert, select

from service.builds.portions import portions
from service.model.orders import Order, OrderBill, OrderLine, Purchase
from service.store import tables
from service.store.bulk import among, upsert
from service.store.codec import dumps, loads

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence


class Orders:
    """OrderStore on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def all(self) -> list[Order]:
        """By day, then by key."""
        head, line = tables.order_head, tables.order_line
        query = select(line.c.head, line.c.data).order_by(line.c.head, line.c.position)
        lines: dict[str, list[OrderLine]] = {}
        for key, data in self._conn.execute(query):
            lines.setdefault(key, []).append(loads(OrderLine, data))
        rows = self._conn.execute(select(head.c.data).order_by(head.c.day, head.c.key)).scalars()
        heads = [loads(Order, data) for data in rows]
        return [replace(one, lines=tuple(lines.get(one.key, ()))) for one in heads]

    def get(self, key: str) -> Order | None:
        """One order with its lines."""
        return next((one for one in self.all() if one.key == key), None)

    def save(self, order: Order, purchases: Sequence[Purchase]) -> None:
        """Insert or change it; `purchases` are those of its lines."""
        counts = {purchase.id: purchase.count for purchase in purchases}
        head = {
            "key": order.key,
            "supplier": order.supplier,
            "day": order.on,
            "data": dumps(replace(order, lines=())),
        }
        upsert(self._conn, tables.order_head, [head])
        rows = [
            {
                "purchase": line.purchase,
                "head": order.key,
                "position": place,
                "state": portions(line, counts[line.purchase]).state,
                "data": dumps(line),
            }
            for place, line in enumerate(order.lines)
        ]
        upsert(self._conn, tables.order_line, rows)

    def purchases(self, ids: Collection[int]) -> list[Purchase]:
        """Purchases by their numbers."""
        table = tables.purchase
        query = select(table.c.id, table.c.data).where(among(self._conn, table.c.id, ids))
        return [replace(loads(Purchase, row[1]), id=row[0]) for row in self._conn.execute(query)]

    def bills(self) -> list[OrderBill]:
        """In the order of their days, then of booking."""
        table = tables.bill
        query = select(table.c.id, table.c.data).order_by(table.c.day, table.c.id)
        return [replace(loads(OrderBill, row[1]), id=row[0]) for row in self._conn.execute(query)]

    def add_bill(self, bill: OrderBill) -> int:
        """Book it; answers its number."""
        row = {"head": bill.order, "day": bill.on, "data": dumps(replace(bill, id=0))}
        result = self._conn.execute(insert(tables.bill).returning(tables.bill.c.id), row)
        return int(result.scalar_one())
