"""Notices waiting for their channel: claimed with a lease, sent, then marked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, or_, select, update

from service.model.deals import Notice
from service.store import tables
from service.store.bulk import insert_into, is_sqlite
from service.store.codec import dumps, loads

if TYPE_CHECKING:
    from datetime import datetime, timedelta

WAITING, SENT, FAILED = "waiting", "sent", "undelivered"


class NoticeBox:
    """Outbox on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def add(self, notice: Notice, not_before: datetime) -> bool:
        """False: a notice of this key was told or waits already."""
        row = {
            "key": notice.key,
            "channel": notice.channel,
            "state": WAITING,
            "not_before": not_before,
            "attempts": notice.attempts,
            "created_at": notice.created_at,
            "data": dumps(notice),
        }
        new = insert_into(self._conn, tables.notice).values(row).on_conflict_do_nothing()
        return self._conn.execute(new.returning(tables.notice.c.key)).first() is not None

    def claim(self, owner: str, now: datetime, hold: timedelta, limit: int = 50) -> list[Notice]:
        """Notices to send now, each held by one owner until `now + hold`; oldest first."""
        table = tables.notice
        free = or_(table.c.until.is_(None), table.c.until <= now)
        ready = (
            select(table.c.key)
            .where(table.c.state == WAITING, table.c.not_before <= now, free)
            .order_by(table.c.not_before, table.c.key)
            .limit(limit)
        )
        if not is_sqlite(self._conn):
            ready = ready.with_for_update(skip_locked=True)
        query = (
            update(table)
            .where(table.c.key.in_(ready.scalar_subquery()))
            .values(owner=owner, until=now + hold)
            .returning(table.c.not_before, table.c.key, table.c.attempts, table.c.data)
        )
        rows = sorted((row[0], row[1], row[2], row[3]) for row in self._conn.execute(query))
        return [replace(loads(Notice, data), attempts=tried) for _, _, tried, data in rows]

    def mark_sent(self, key: str, at: datetime) -> None:
        """The channel took it. Also holds where the lease has run out meanwhile."""
        self._mark(key, state=SENT, sent_at=at, reason=None)

    def mark_failed(self, key: str, reason: str, next_try: datetime | None) -> None:
        """`next_try` None: given up, shown as undelivered."""
        if next_try is None:
            self._mark(key, state=FAILED, reason=reason)
        else:
            self._mark(key, reason=reason, not_before=next_try)

    def _mark(self, key: str, **values: Any) -> None:
        table = tables.notice
        query = update(table).where(table.c.key == key, table.c.state != SENT)
        values |= {"owner": None, "until": None, "attempts": table.c.attempts + 1}
        self._conn.execute(query.values(values))

    def rows(self, limit: int = 200) -> list[dict[str, Any]]:
        """The newest first: key, channel, state, attempts, times and the last reason."""
        table = tables.notice
        query = select(table).order_by(table.c.created_at.desc(), table.c.key).limit(limit)
        return [_shown(row) for row in self._conn.execute(query)]


def _shown(row: Any) -> dict[str, Any]:
    notice = loads(Notice, row.data)
    names = ("key", "channel", "state", "attempts", "created_at", "not_before", "sent_at", "reason")
    shown = {name: getattr(row, name) for name in names}
    return {**shown, "subject": notice.subject, "text": notice.text, "data": notice.data}
