"""Deals by episode, and since when each target has been met."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, select

from service.model.deals import Deal, DealState
from service.store import tables
from service.store.bulk import upsert
from service.store.codec import dumps, loads

if TYPE_CHECKING:
    from datetime import datetime


class Deals:
    """DealStore on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def open_deals(self) -> list[Deal]:
        """By the time they opened."""
        table = tables.deal
        query = select(table.c.data).where(table.c.open.is_(True))
        return self._load(query.order_by(table.c.opened_at, table.c.key))

    def deals(self, limit: int = 200) -> list[Deal]:
        """The newest first, closed ones too."""
        table = tables.deal
        query = select(table.c.data).order_by(table.c.opened_at.desc(), table.c.key)
        return self._load(query.limit(limit))

    def _load(self, query: Any) -> list[Deal]:
        return [loads(Deal, data) for data in self._conn.scalars(query)]

    def put(self, deal: Deal) -> None:
        """Insert, or change the one of the same key."""
        row = {
            "key": deal.key,
            "target": deal.target,
            "open": deal.state is DealState.OPEN,
            "opened_at": deal.opened_at,
            "data": dumps(deal),
        }
        upsert(self._conn, tables.deal, [row])

    def met_since(self, target: str) -> datetime | None:
        """Since when the target's condition has held; None: it does not."""
        return self._conn.scalar(select(tables.met.c.since).where(tables.met.c.target == target))

    def set_met(self, target: str, since: datetime | None) -> None:
        """Note it, or forget it with None."""
        if since is None:
            self._conn.execute(delete(tables.met).where(tables.met.c.target == target))
        else:
            upsert(self._conn, tables.met, [{"target": target, "since": since}])
