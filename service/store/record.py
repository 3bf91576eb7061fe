"""Writing the price log: what polls bring, by whole batches.

A batch that only confirms what runs is one `executemany` on narrow rows. Only
the readings that this leaves over (a new offer, a pause, a new listing) are
looked at one by one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, select, text

from service.errors import NotFoundError
from service.store import tables
from service.store.bulk import among, insert_many, is_sqlite, run_many
from service.store.rows import SPELL, gap_rows, row_of, span_of
from service.store.timeline import Span, Terms, Timeline

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

Seen = tuple[int, int, Terms, int]  # listing, at, terms, origin

_SAME_TERMS: Final = """r.price = {p} AND r.currency = {c} AND r.availability = {a} AND r.tax = {t}
    AND r.list_price {equals} {l} AND r.last_seen < {at} AND {at} - r.last_seen <= r.fresh"""

_CONFIRM_SQLITE: Final = """UPDATE running AS r
    SET polls = polls + 1, pause = max(pause, (?1 - last_seen) / 1000000), last_seen = ?1
    WHERE r.listing = ?2 AND """ + _SAME_TERMS.format(
    p="?3", c="?4", l="?5", a="?6", t="?7", at="?1", equals="IS"
)

_CONFIRM_POSTGRES: Final = """UPDATE running AS r
    SET polls = polls + 1, last_seen = i.at,
        pause = greatest(pause, ((i.at - last_seen) / 1000000)::integer)
    FROM unnest(%s::bigint[], %s::bigint[], %s::bigint[], %s::text[], %s::bigint[],
        %s::smallint[], %s::smallint[]) AS i(at, listing, p, c, l, a, t)
    WHERE r.listing = i.listing AND """ + _SAME_TERMS.format(
    p="i.p", c="i.c", l="i.l", a="i.a", t="i.t", at="i.at", equals="IS NOT DISTINCT FROM"
)

_EXTEND: Final = """UPDATE running SET last_seen = ?, polls = ?, pause = ? WHERE listing = ?"""
_REPLACE: Final = """UPDATE running SET first_seen = ?, last_seen = ?, polls = ?, pause = ?,
    price = ?, currency = ?, list_price = ?, availability = ?, tax = ?, origin = ?
    WHERE listing = ?"""
_RUNNING: Final = (*SPELL, "fresh")


def bump(conn: Connection, *, rebuilt: bool = False) -> None:
    """Tell readers that keep a copy of the log that it has changed."""
    past = ", rebuilt = rebuilt + 1" if rebuilt else ""
    conn.exec_driver_sql(f"UPDATE log_version SET version = version + 1{past}")


def confirm(conn: Connection, seen: Sequence[Seen]) -> list[Seen]:
    """Extend the spells that run on; answers the readings that are something else."""
    rows = [(at, listing, *terms) for listing, at, terms, _ in seen]
    if is_sqlite(conn):
        done = run_many(conn, _CONFIRM_SQLITE, rows)
    else:
        done = conn.exec_driver_sql(
            _CONFIRM_POSTGRES, tuple(list(column) for column in zip(*rows, strict=True))
        ).rowcount
    if done == len(seen):
        return []
    last = last_seen(conn, [row[0] for row in seen])
    return [row for row in seen if last.get(row[0]) != row[1]]


def last_seen(conn: Connection, listings: Collection[int]) -> dict[int, int]:
    """When each listing's running spell was last seen, in microseconds."""
    table = tables.running
    rows = conn.execute(
        select(table.c.listing, text("last_seen")).where(among(conn, table.c.listing, listings))
    )
    return {row[0]: row[1] for row in rows}


def settle(conn: Connection, seen: Sequence[Seen]) -> None:
    """Readings that do not just confirm: at most one a listing."""
    running = _running(conn, [row[0] for row in seen])
    fresh = fresh_of(conn, {row[0] for row in seen} - running.keys())
    work = _Changes()
    for listing, at, terms, origin in seen:
        if listing in fresh:
            span = Span(at, at, 1, 0, terms, origin)
            work.opened.append((*row_of(listing, span), fresh[listing]))
        else:
            work.change(*running[listing], seen=(listing, at, terms, origin))
    work.write(conn)


class _Changes:
    """Rows to write, gathered so that each kind is one statement."""

    def __init__(self) -> None:
        self.opened: list[tuple[Any, ...]] = []
        self.closed: list[tuple[Any, ...]] = []
        self.replaced: list[tuple[Any, ...]] = []
        self.extended: list[tuple[Any, ...]] = []
        self.gaps: list[tuple[int, int, int, int]] = []

    def change(self, span: Span, fresh: int, seen: Seen) -> None:
        listing, at, terms, origin = seen
        if at <= span.last and terms == span.terms:
            return
        # A clock that was set back does not make a later reading an earlier one.
        at = max(at, span.last + 1)
        line = Timeline([span], [], fresh)
        line.place(at, terms, origin)
        self.gaps += gap_rows(listing, line.holes)
        newest = line.spans[-1]
        if newest is span:
            self.extended.append((span.last, span.polls, span.pause, listing))
        else:
            self.closed.append(row_of(listing, span))
            self.replaced.append((*row_of(listing, newest)[1:], listing))

    def write(self, conn: Connection) -> None:
        insert_many(conn, tables.running, _RUNNING, self.opened)
        insert_many(conn, tables.spell, SPELL, self.closed)
        run_many(conn, _REPLACE, self.replaced)
        run_many(conn, _EXTEND, self.extended)
        insert_many(conn, tables.gap, ("listing", "start", "until", "polls"), self.gaps)


def fresh_of(conn: Connection, listings: Collection[int]) -> dict[int, int]:
    """How long each listing's price may be used, in microseconds. NotFoundError: no such one."""
    if not listings:
        return {}
    table = tables.listing
    rows = conn.execute(select(table.c.id, table.c.fresh).where(among(conn, table.c.id, listings)))
    fresh = {row[0]: row[1] for row in rows}
    if missing := set(listings) - fresh.keys():
        raise NotFoundError(f"no listing with the number {min(missing)} is stored")
    return fresh


def _running(conn: Connection, listings: Collection[int]) -> dict[int, tuple[Span, int]]:
    lock = "" if is_sqlite(conn) else " FOR UPDATE"
    where = among(conn, tables.running.c.listing, listings)
    names = [text(f"running.{name}") for name in _RUNNING]
    query = select(*names).select_from(tables.running).where(where)
    if lock:
        query = query.with_for_update()
    return {row[0]: (span_of(row), row[11]) for row in conn.execute(query)}


def rounds(seen: Iterable[Seen]) -> list[list[Seen]]:
    """Readings in time order, so that no listing stands twice in one round."""
    result: list[list[Seen]] = []
    count: dict[int, int] = {}
    for row in sorted(seen, key=lambda row: row[1]):
        place = count[row[0]] = count.get(row[0], -1) + 1
        if place == len(result):
            result.append([])
        result[place].append(row)
    return result
