"""The price log: spells, gaps, what held at any time, and readings kept aside."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, Row, delete, select, text

from service.flows.ports import Doubt, Gap, Placed
from service.model.prices import Observation, PriceNow, Spell
from service.store import past, tables
from service.store import record as recording
from service.store.bulk import among, one_of, upsert
from service.store.rows import SPELL, offer_of, seen_row, spells_of
from service.store.types import ORIGIN_CODES, from_micros, to_micros

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

_FIELDS: Final = ", ".join(f"s.{name}" for name in SPELL)

SINCE: Final = "_since"  # in a doubt's reading: when it was first seen

POLLED: Final = ORIGIN_CODES["poll"]

_AS_OF: Final = text(
    f"""SELECT {_FIELDS} FROM running s WHERE s.first_seen <= :at
    UNION ALL
    SELECT {_FIELDS} FROM running r JOIN spell s ON s.listing = r.listing
        AND s.first_seen = (SELECT max(o.first_seen) FROM spell o
            WHERE o.listing = r.listing AND o.first_seen <= :at)
    WHERE r.first_seen > :at"""
)


class Log:
    """PriceLog on one connection."""

    def __init__(self, conn: Connection, known: recording.Known | None = None) -> None:
        """`known`: what the store remembers of the spells that run."""
        self._conn = conn
        self._known: recording.Known = {} if known is None else known

    def record(self, observations: Sequence[Observation]) -> None:
        """Extend or open spells, in time order per listing.

        A poll that comes late, because the clock was set back, still counts as
        the newest; anything else with an old date takes its place in the past.
        NotFoundError: a listing is not stored. InputError: money finer than
        1/10000 of a unit, or a time without zone.
        """
        if not observations:
            return
        for seen in recording.rounds(observations):
            if rest := recording.confirm(self._conn, self._known, seen):
                self._settle([seen_row(one) for one in rest])
        recording.bump(self._conn)

    def _settle(self, seen: Sequence[recording.Seen]) -> None:
        dated = [row[0] for row in seen if row[3] != POLLED]
        last = recording.last_seen(self._conn, dated) if dated else {}
        old = [row for row in seen if row[3] != POLLED and row[1] < last.get(row[0], row[1])]
        early = {row[0] for row in old}
        recording.settle(self._conn, self._known, [row for row in seen if row[0] not in early])
        if old:
            past.place(self._conn, old)

    def insert_past(self, observations: Sequence[Observation]) -> int:
        """Imported readings take their place in time; answers how many were new."""
        return self.place_past(observations).new

    def place_past(self, observations: Sequence[Observation]) -> Placed:
        """The same, and which readings were refused and why."""
        return past.place_observations(self._conn, observations)

    def spells(self, listings: Collection[int], since: datetime | None = None) -> list[Spell]:
        """By listing, then time; with `since` only those seen then or later."""
        where = "" if since is None else " AND s.last_seen >= :since"
        values = {} if since is None else {"since": to_micros(since)}
        return spells_of(self._of(listings, where, values))

    def _of(
        self, listings: Collection[int], where: str, values: dict[str, Any]
    ) -> Sequence[Sequence[Any]]:
        one, bound = one_of(self._conn, listings)
        query = " UNION ALL ".join(
            f"SELECT {_FIELDS} FROM {table} s WHERE s.listing {one}{where}"
            for table in ("spell", "running")
        )
        rows = self._conn.execute(text(query), {**values, "listings": bound}).all()
        return sorted(rows, key=lambda row: (row[0], row[1]))

    def gaps(self, listings: Collection[int], since: datetime | None = None) -> list[Gap]:
        """Pauses longer than a price may be used, inside spells; by listing, then time."""
        table = tables.gap
        query = select(table.c.listing, table.c.start, table.c.until)
        query = query.where(among(self._conn, table.c.listing, listings))
        if since is not None:
            query = query.where(table.c.until > since)
        rows = self._conn.execute(query.order_by(table.c.listing, table.c.start))
        return [Gap(row[0], row[1], row[2]) for row in rows]

    def as_of(self, at: datetime, listings: Collection[int] | None = None) -> dict[int, PriceNow]:
        """The offer of each listing at `at`, also of those that were removed since.

        `seen_at` is exact where the price was not seen later; inside a spell
        it is `at` itself, or the start of the gap that `at` lies in.
        """
        micros = to_micros(at)
        wanted = None if listings is None else set(listings)
        rows = (
            self._conn.execute(_AS_OF, {"at": micros}).all()
            if wanted is None
            else (self._as_of_some(micros, wanted))
        )
        result = {
            row[0]: PriceNow(row[0], offer_of(*row[5:10]), from_micros(min(row[2], micros)))
            for row in rows
        }
        self._step_back(micros, result)
        self._mark_doubtful(at, result)
        return result

    def _as_of_some(self, at: int, listings: set[int]) -> Sequence[Sequence[Any]]:
        latest: dict[int, Sequence[Any]] = {}
        for row in self._of(listings, " AND s.first_seen <= :at", {"at": at}):
            latest[row[0]] = row
        return list(latest.values())

    def _step_back(self, at: int, result: dict[int, PriceNow]) -> None:
        """Inside a gap the price was last seen when the gap began."""
        moment = from_micros(at)
        if all(now.seen_at < moment for now in result.values()):
            return
        rows = self._conn.execute(
            text("SELECT listing, start FROM gap WHERE start < :at AND until > :at"), {"at": at}
        )
        for listing, start in rows:
            if listing in result:
                result[listing] = replace(result[listing], seen_at=from_micros(start))

    def _mark_doubtful(self, at: datetime, result: dict[int, PriceNow]) -> None:
        table = tables.doubt
        query = select(table.c.listing, table.c.at, table.c.reason).where(table.c.at <= at)
        for listing, seen, reason in self._conn.execute(query):
            now = result.get(listing)
            if now is not None and seen > now.seen_at:
                result[listing] = replace(now, doubtful=reason)

    def doubts(self, listings: Collection[int] | None = None) -> list[Doubt]:
        """Readings kept aside, one a listing, newest first."""
        table = tables.doubt
        query = select(table).order_by(table.c.at.desc(), table.c.listing)
        if listings is not None:
            query = query.where(among(self._conn, table.c.listing, listings))
        return [_doubt_of(row) for row in self._conn.execute(query)]

    def keep_doubt(self, doubt: Doubt) -> None:
        """Keep the reading aside, in place of the one before it."""
        reading = dict(doubt.reading)
        if doubt.since is not None:  # beside what was read, so that older books open as they are
            reading[SINCE] = doubt.since.isoformat()
        row = {
            "listing": doubt.listing,
            "at": doubt.at,
            "reason": doubt.reason,
            "reading": json.dumps(reading, ensure_ascii=False, default=str),
            "seen": doubt.seen,
        }
        upsert(self._conn, tables.doubt, [row])

    def clear_doubt(self, listing: int) -> None:
        """The doubt is settled, or the price was accepted or rejected."""
        self._conn.execute(delete(tables.doubt).where(tables.doubt.c.listing == listing))


def _doubt_of(row: Row[Any]) -> Doubt:
    reading = json.loads(row.reading)
    since = reading.pop(SINCE, None)
    first = datetime.fromisoformat(since) if since else None
    return Doubt(row.listing, row.at, row.reason, reading, row.seen, first)
