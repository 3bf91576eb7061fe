"""What parts did after they came, and the offcuts that are left."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import Connection, delete, insert, select

from service.model.orders import Movement, Offcut
from service.store import tables
from service.store.codec import dumps, loads

if TYPE_CHECKING:
    from collections.abc import Sequence


class Workshop:
    """WorkshopStore on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def movements(self) -> list[Movement]:
        """In the order of their days, then of booking."""
        table = tables.movement
        query = select(table.c.id, table.c.data).order_by(table.c.day, table.c.id)
        return [replace(loads(Movement, row[1]), id=row[0]) for row in self._conn.execute(query)]

    def add(self, movement: Movement) -> int:
        """Book it; answers its number."""
        table = tables.movement
        row = {
            "part": movement.part,
            "build": movement.build,
            "day": movement.on,
            "data": dumps(replace(movement, id=0)),
        }
        return int(self._conn.execute(insert(table).returning(table.c.id), row).scalar_one())

    def offcuts(self) -> list[Offcut]:
        """In the order of booking."""
        table = tables.offcut
        query = select(table.c.id, table.c.data).order_by(table.c.id)
        return [replace(loads(Offcut, row[1]), id=row[0]) for row in self._conn.execute(query)]

    def set_offcuts(self, part: str, offcuts: Sequence[Offcut]) -> None:
        """These are all the offcuts of the part."""
        table = tables.offcut
        self._conn.execute(delete(table).where(table.c.part == part))
        rows = [{"part": part, "data": dumps(replace(one, id=0))} for one in offcuts]
        if rows:
            self._conn.execute(insert(table), rows)
