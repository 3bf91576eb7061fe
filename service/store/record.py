"""Writing the price log: what polls bring, by whole batches.

A batch that only confirms what runs is a statement for hundreds of rows. Only
the readings that this leaves over (a new offer, a pause, a new listing) are
looked at one by one.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from operator import attrgetter
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, text

from service.errors import NotFoundError
from service.model.prices import Observation, Offer
from service.store import tables
from service.store.bulk import insert_many, is_sqlite, one_of, run_many
from service.store.rows import SPELL, gap_rows, offer_of, row_of, span_of
from service.store.timeline import Span, Terms
from service.store.timeline import extend as extend_span
from service.store.types import EPOCH

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

Seen = tuple[int, int, Terms, int]  # listing, at, terms, origin

Still = list[int]  # of each reading in turn: instant, listing, first instant of its spell

# By listing, the offer that runs and since when: kept between transactions. It may be out of
# date, since others write too; every use is checked against the row's `first_seen`.
Known = dict[int, tuple[Offer, int]]

_STILL: Final = "r.first_seen = {first} AND r.last_seen < {at} AND {at} - r.last_seen <= r.fresh"

# Many rows a statement: binding one by one costs more than the change itself. SQLite has no
# quick UPDATE from a list, but INSERT ... ON CONFLICT is one, as all these rows exist; should one
# have gone meanwhile, `NOBODY` is what tells the row that must not stay.
_CHUNK: Final = 80  # rows of three values a statement: more gain nothing
_NOBODY: Final = ""
_CONFIRM_SQLITE: Final = f"""INSERT INTO running AS r (last_seen, listing, first_seen, polls, pause,
        price, currency, availability, tax, origin, fresh)
    VALUES {{rows}}
    ON CONFLICT (listing) DO UPDATE SET polls = polls + 1, last_seen = excluded.last_seen,
        pause = max(pause, (excluded.last_seen - last_seen) / 1000000)
    WHERE {_STILL.format(at="excluded.last_seen", first="excluded.first_seen")}"""
_CONFIRM_ROW: Final = f"(?, ?, ?, 1, 0, 0, '{_NOBODY}', 0, 0, 0, 0)"

_CONFIRM_POSTGRES: Final = """UPDATE running AS r
    SET polls = polls + 1, last_seen = i.at,
        pause = greatest(pause, ((i.at - last_seen) / 1000000)::integer)
    FROM unnest(%s::bigint[], %s::bigint[], %s::bigint[]) AS i(at, listing, first)
    WHERE r.listing = i.listing AND """ + _STILL.format(at="i.at", first="i.first")

_EXTEND: Final = """UPDATE running SET last_seen = ?, polls = ?, pause = ? WHERE listing = ?"""
_REPLACE: Final = """UPDATE running SET first_seen = ?, last_seen = ?, polls = ?, pause = ?,
    price = ?, currency = ?, list_price = ?, availability = ?, tax = ?, origin = ?
    WHERE listing = ?"""
_RUNNING: Final = (*SPELL, "fresh")
_NOTHING: Final = (Offer(Decimal(-1), ""), 0)
_LISTING: Final = attrgetter("listing")
_DAY: Final = 86_400  # seconds
_SECOND: Final = 1_000_000


def bump(conn: Connection, *, rebuilt: bool = False) -> None:
    """Tell readers that keep a copy of the log that it has changed."""
    past = ", rebuilt = rebuilt + 1" if rebuilt else ""
    conn.exec_driver_sql(f"UPDATE log_version SET version = version + 1{past}")


def confirm(
    conn: Connection, known: Known, observations: Sequence[Observation]
) -> list[Observation]:
    """Extend the spells that run on; answers the observations that are something else.

    No listing stands twice in `observations`.
    """
    rows, others = still(known, observations)
    if missing := {seen.listing for seen in others} - known.keys():
        _learn(conn, known, missing)
        late, others = still(known, others)
        rows += late
    if extend(conn, rows) < len(rows) // 3:
        others += _not_extended(conn, rows, observations)
    return others


def still(known: Known, observations: Sequence[Observation]) -> tuple[Still, list[Observation]]:
    """Those that say what was known, and the others.

    The hot loop of a cycle of polls: what `Offer` and timedelta would do by calls is spelt out.
    """
    rows: Still = []
    others: list[Observation] = []
    get = known.get
    for seen in observations:
        offer, held = seen.offer, get(seen.listing, _NOTHING)
        was = held[0]
        if was is not offer and not (
            was.price == offer.price
            and was.list_price == offer.list_price
            and was.currency == offer.currency
            and was.availability is offer.availability
            and was.tax is offer.tax
        ):
            others.append(seen)
            continue
        try:
            since = seen.at - EPOCH
        except TypeError:  # a time without zone: who looks at it closer says so
            others.append(seen)
            continue
        at = (since.days * _DAY + since.seconds) * _SECOND + since.microseconds
        rows += (at, seen.listing, held[1])
    return rows, others


def extend(conn: Connection, rows: Still) -> int:
    """Extend the spells that began then; answers how many did go on."""
    if not rows:
        return 0
    if is_sqlite(conn):
        return _extend_sqlite(conn, rows)
    columns = (rows[0::3], rows[1::3], rows[2::3])
    return conn.exec_driver_sql(_CONFIRM_POSTGRES, columns).rowcount


def _extend_sqlite(conn: Connection, rows: Still) -> int:
    before = _count(conn)
    size = 3 * _CHUNK
    whole = len(rows) // size * size
    chunks = [tuple(rows[place : place + size]) for place in range(0, whole, size)]
    extended = run_many(conn, _confirm_sql(_CHUNK), chunks)
    if rest := tuple(rows[whole:]):
        extended += run_many(conn, _confirm_sql(len(rest) // 3), [rest])
    added = _count(conn) - before
    if added:
        conn.exec_driver_sql("DELETE FROM running WHERE currency = ?", (_NOBODY,))
    return extended - added


@lru_cache(maxsize=_CHUNK)
def _confirm_sql(rows: int) -> str:
    return _CONFIRM_SQLITE.format(rows=", ".join([_CONFIRM_ROW] * rows))


def _count(conn: Connection) -> int:
    return int(conn.exec_driver_sql("SELECT count(*) FROM running").scalar_one())


def _not_extended(
    conn: Connection, rows: Still, observations: Sequence[Observation]
) -> list[Observation]:
    last = last_seen(conn, rows[1::3])
    seen = zip(rows[0::3], rows[1::3], strict=True)
    missed = {listing for at, listing in seen if last.get(listing) != at}
    return [seen for seen in observations if seen.listing in missed]


def _learn(conn: Connection, known: Known, listings: Collection[int]) -> None:
    """Which spell runs of each listing. Its offer can no longer change, only give way."""
    for listing, (span, _) in _running(conn, listings, lock=False).items():
        known[listing] = (offer_of(*span.terms), span.first)


def last_seen(conn: Connection, listings: Collection[int]) -> dict[int, int]:
    """When each listing's running spell was last seen, in microseconds."""
    one, bound = one_of(conn, listings)
    query = f"SELECT listing, last_seen FROM running WHERE listing {one}"
    return {row[0]: row[1] for row in conn.execute(text(query), {"listings": bound})}


def settle(conn: Connection, known: Known, seen: Sequence[Seen]) -> None:
    """Readings that do not just confirm: at most one a listing."""
    running = _running(conn, [row[0] for row in seen], lock=True)
    fresh = fresh_of(conn, {row[0] for row in seen} - running.keys())
    work = _Changes()
    for listing, at, terms, origin in seen:
        if listing in fresh:
            span = Span(at, at, 1, 0, terms, origin)
            work.opened.append((*row_of(listing, span), fresh[listing]))
        else:
            span = work.change(*running[listing], seen=(listing, at, terms, origin))
        known[listing] = (offer_of(*span.terms), span.first)
    work.write(conn)


class _Changes:
    """Rows to write, gathered so that each kind is one statement."""

    def __init__(self) -> None:
        self.opened: list[tuple[Any, ...]] = []
        self.closed: list[tuple[Any, ...]] = []
        self.replaced: list[tuple[Any, ...]] = []
        self.extended: list[tuple[Any, ...]] = []
        self.gaps: list[tuple[int, int, int, int]] = []

    def change(self, span: Span, fresh: int, seen: Seen) -> Span:
        """Answers the spell that runs then."""
        listing, at, terms, origin = seen
        if at <= span.last and terms == span.terms:
            return span
        # A clock that was set back does not make a later reading an earlier one.
        at = max(at, span.last + 1)
        if terms == span.terms:
            if hole := extend_span(span, at, fresh):
                self.gaps += gap_rows(listing, [hole])
            self.extended.append((span.last, span.polls, span.pause, listing))
            return span
        newest = Span(at, at, 1, 0, terms, origin)
        self.closed.append(row_of(listing, span))
        self.replaced.append((at, at, 1, 0, *terms, origin, listing))
        return newest

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
    one, bound = one_of(conn, listings)
    query = text(f"SELECT id, fresh FROM listing WHERE id {one}")
    rows = conn.execute(query, {"listings": bound})
    fresh = {row[0]: row[1] for row in rows}
    if missing := set(listings) - fresh.keys():
        raise NotFoundError(f"no listing with the number {min(missing)} is stored")
    return fresh


def _running(
    conn: Connection, listings: Collection[int], *, lock: bool
) -> dict[int, tuple[Span, int]]:
    one, bound = one_of(conn, listings)
    query = f"SELECT {', '.join(_RUNNING)} FROM running WHERE listing {one}"
    if lock and not is_sqlite(conn):
        query += " FOR UPDATE"
    rows = conn.execute(text(query), {"listings": bound}).all()
    return {row[0]: (span_of(row), row[11]) for row in rows}


def rounds(observations: Sequence[Observation]) -> list[Sequence[Observation]]:
    """In time order where it matters: so that no listing stands twice in one round."""
    if len(set(map(_LISTING, observations))) == len(observations):
        return [observations]
    result: list[list[Observation]] = []
    count: dict[int, int] = {}
    for seen in sorted(observations, key=lambda one: one.at):
        place = count[seen.listing] = count.get(seen.listing, -1) + 1
        if place == len(result):
            result.append([])
        result[place].append(seen)
    return [*result]
