"""Purchases as booked: each has a number, and a name made of what it says."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import Connection, insert, select

from service.model.orders import Purchase
from service.store import tables
from service.store.bulk import among
from service.store.codec import dumps, loads

if TYPE_CHECKING:
    from collections.abc import Sequence


class Purchases:
    """PurchaseStore on one connection.

    Two purchases that say the same are told apart by their count, so that a
    file with both can be loaded again without booking either twice.
    """

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def add(self, purchase: Purchase) -> int:
        """Book it, also where the same was booked before; answers its number."""
        name = _name(purchase)
        return self._insert(purchase, f"{name}-{self._count(name) + 1}")

    def all(self, *, cancelled: bool = False) -> list[Purchase]:
        """In the order of the days they were made, then of booking; undated ones last.

        `cancelled`: also lines of orders that were cancelled whole, which cost nothing.
        """
        states = {"cancelled"} if not cancelled else set()
        return self._all(states)

    def _all(self, but: set[str]) -> list[Purchase]:
        table, line = tables.purchase, tables.order_line
        query = select(table.c.id, table.c.data).order_by(
            table.c.day.is_(None), table.c.day, table.c.id
        )
        if but:
            gone = select(line.c.purchase).where(line.c.state.in_(sorted(but)))
            query = query.where(table.c.id.not_in(gone))
        return [replace(loads(Purchase, row[1]), id=row[0]) for row in self._conn.execute(query)]

    def save(self, purchases: Sequence[Purchase]) -> int:
        """Book those of a file that are not booked yet; answers how many."""
        seen: dict[str, int] = {}
        added = 0
        for purchase in purchases:
            name = _name(purchase)
            seen[name] = seen.get(name, 0) + 1
            if seen[name] > self._count(name):
                self._insert(purchase, f"{name}-{seen[name]}")
                added += 1
        return added

    def ids(self, purchases: Sequence[Purchase]) -> list[int]:
        """The numbers of purchases that are booked, of equal ones in the order of booking."""
        table, seen, names = tables.purchase, dict[str, int](), []
        for purchase in purchases:
            name = _name(purchase)
            seen[name] = seen.get(name, 0) + 1
            names.append(f"{name}-{seen[name]}")
        query = select(table.c.key, table.c.id).where(among(self._conn, table.c.key, names))
        found = {row[0]: row[1] for row in self._conn.execute(query)}
        return [found[name] for name in names]

    def _count(self, name: str) -> int:
        table = tables.purchase
        query = select(table.c.id).where(table.c.key.startswith(f"{name}-"))
        return len(self._conn.execute(query).all())

    def _insert(self, purchase: Purchase, key: str) -> int:
        row = {
            "key": key,
            "part": purchase.part,
            "day": purchase.on,
            "data": dumps(replace(purchase, id=0)),
        }
        result = self._conn.execute(insert(tables.purchase).returning(tables.purchase.c.id), row)
        return int(result.scalar_one())


def _name(purchase: Purchase) -> str:
    return hashlib.sha256(dumps(replace(purchase, id=0)).encode()).hexdigest()[:32]
