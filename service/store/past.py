"""Readings with an old date, and listings whose history is cut or moved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sqlalchemy import Connection, text

from service.flows.ports import Placed, Refused
from service.store import record, tables
from service.store.bulk import delete_where, insert_many
from service.store.rows import SPELL, gap_rows, offer_of, row_of, seen_row, span_of
from service.store.timeline import CONFLICT, KNOWN, NEW, Hole, Span, Terms, Timeline
from service.store.types import from_micros

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from service.model.prices import Observation

_FIELDS: Final = ", ".join(SPELL)


def place_observations(conn: Connection, observations: Sequence[Observation]) -> Placed:
    """Put each where it belongs in time. NotFoundError: a listing is not stored."""
    seen = [seen_row(observation) for observation in observations]
    reasons = place(conn, seen)
    refused = tuple(
        Refused(observations[index], reason)
        for index, reason in enumerate(reasons)
        if reason not in {NEW, KNOWN}
    )
    return Placed(reasons.count(NEW), reasons.count(KNOWN), refused)


def place(conn: Connection, seen: Sequence[record.Seen]) -> list[str]:
    """Per reading: `new`, `known`, or why it was refused."""
    if not seen:
        return []
    lines = timelines(conn, {row[0] for row in seen})
    order = sorted(range(len(seen)), key=lambda index: seen[index][1])
    results = [""] * len(seen)
    for index in order:
        listing, at, terms, origin = seen[index]
        line = lines[listing]
        result = line.place(at, terms, origin)
        results[index] = _conflict(line, at, terms) if result == CONFLICT else result
    changed = {seen[index][0] for index, result in enumerate(results) if result == NEW}
    save(conn, {listing: lines[listing] for listing in changed})
    return results


def _conflict(line: Timeline, at: int, terms: Terms) -> str:
    span = line.at(at)
    held = "another price" if span is None else _words(span)
    return f"{from_micros(at):%Y-%m-%d %H:%M} UTC: {offer_of(*terms).price} is given, but {held}"


def _words(span: Span) -> str:
    offer = offer_of(*span.terms)
    return (
        f"{offer.price} {offer.currency} ({offer.availability.value}) was seen from "
        f"{from_micros(span.first):%Y-%m-%d %H:%M} to {from_micros(span.last):%Y-%m-%d %H:%M}"
    )


def timelines(conn: Connection, listings: Collection[int]) -> dict[int, Timeline]:
    """Everything that is known of the listings. NotFoundError: one is not stored."""
    fresh = record.fresh_of(conn, listings)
    spans: dict[int, list[Span]] = {listing: [] for listing in listings}
    holes: dict[int, list[Hole]] = {listing: [] for listing in listings}
    for listing in listings:
        one = {"listing": listing}
        for table in ("spell", "running"):
            rows = conn.execute(
                text(f"SELECT {_FIELDS} FROM {table} WHERE listing = :listing"), one
            )
            spans[listing] += [span_of(row) for row in rows]
        rows = conn.execute(
            text("SELECT start, until, polls FROM gap WHERE listing = :listing"), one
        )
        holes[listing] = [Hole(*row) for row in rows]
    return {one: Timeline(spans[one], holes[one], fresh[one]) for one in listings}


def save(conn: Connection, lines: dict[int, Timeline]) -> None:
    """Write whole timelines in place of what the log holds of these listings."""
    if not lines:
        return
    for table in (tables.spell, tables.running, tables.gap):
        delete_where(conn, table.c.listing, list(lines))
    insert_many(conn, tables.spell, SPELL, _closed(lines))
    insert_many(
        conn,
        tables.running,
        (*SPELL, "fresh"),
        [(*row_of(k, line.spans[-1]), line.fresh) for k, line in lines.items() if line.spans],
    )
    gaps = [row for listing, line in lines.items() for row in gap_rows(listing, line.holes)]
    insert_many(conn, tables.gap, ("listing", "start", "until", "polls"), gaps)
    record.bump(conn, rebuilt=True)


def _closed(lines: dict[int, Timeline]) -> list[tuple[object, ...]]:
    return [row_of(k, span) for k, line in lines.items() for span in line.spans[:-1]]
