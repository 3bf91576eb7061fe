"""Writing a book: each thing under its key, only where it differs from what is kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Table, bindparam, insert, select, update

from scrapers import host_key
from service.model.prices import fresh_for
from service.store import tables
from service.store.bulk import add_new, among, delete_where, run_many, upsert
from service.store.codec import dumps
from service.store.diary import save_diary
from service.store.purchases import Purchases
from service.store.types import to_micros

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from service.model.book import Book
    from service.model.builds import Build, Line
    from service.model.catalogue import Listing, Part
    from service.model.deals import Target


def save_book(conn: Connection, book: Book, now: datetime) -> int:
    """Upsert in the order in which things refer to each other; answers how many changed."""
    return (
        len(_save(conn, tables.supplier, {s.key: dumps(s) for s in book.suppliers}))
        + save_parts(conn, book.parts)
        + save_listings(conn, book.listings, now)
        + save_builds(conn, book.builds)
        + save_targets(conn, book.targets)
        + Purchases(conn).save(book.purchases)
        + save_diary(conn, book)
    )


def _save(
    conn: Connection,
    table: Table,
    texts: Mapping[str, str],
    more: Mapping[str, Mapping[str, Any]] | None = None,
) -> set[str]:
    """Write the texts that differ from the kept ones; answers their keys."""
    query = select(table.c.key, table.c.data).where(among(conn, table.c.key, texts))
    kept = {row[0]: row[1] for row in conn.execute(query)} if texts else {}
    changed = {key for key, data in texts.items() if kept.get(key) != data}
    extra: Mapping[str, Mapping[str, Any]] = more or {}
    upsert(
        conn,
        table,
        [{"key": k, "data": texts[k], **extra.get(k, {})} for k in texts if k in changed],
    )
    return changed


def save_parts(conn: Connection, parts: Sequence[Part]) -> int:
    """Parts, and which may stand in for which."""
    changed = _save(conn, tables.part, {part.key: dumps(part) for part in parts})
    delete_where(conn, tables.stand_in.c.owner, changed)
    rows = [row for part in parts if part.key in changed for row in _stand_ins(part)]
    add_new(conn, tables.stand_in, rows)
    return len(changed)


def _stand_ins(part: Part) -> Iterable[dict[str, str]]:
    for other in part.equivalents:
        yield {"part": part.key, "owner": part.key, "other": other.part}
        if not other.one_way:
            yield {"part": other.part, "owner": part.key, "other": part.key}
    named = {other.part for other in part.equivalents}
    for component in part.mix_of:
        if component not in named:
            yield {"part": part.key, "owner": part.key, "other": component}


def save_listings(conn: Connection, listings: Sequence[Listing], now: datetime) -> int:
    """Listings with what they supply; new ones with a URL are due at once."""
    texts = {one.key: dumps(replace(one, id=0)) for one in listings}
    kept = _kept_listings(conn, texts)
    changed = [one for one in listings if kept.get(one.key) != (texts[one.key], None)]
    if not changed:
        return 0
    _write_listings(conn, changed, texts, kept.keys())
    ids = _ids(conn, [one.key for one in changed])
    delete_where(conn, tables.supply.c.listing, list(ids.values()))
    rows = {(ids[one.key], supply.part) for one in changed for supply in one.supplies}
    conn.execute(insert(tables.supply), [{"listing": i, "part": part} for i, part in sorted(rows)])
    _set_polls(conn, changed, ids, now)
    return len(changed)


def _kept_listings(conn: Connection, keys: Iterable[str]) -> dict[str, tuple[str, Any]]:
    table = tables.listing
    query = select(table.c.key, table.c.data, table.c.removed_at)
    rows = conn.execute(query.where(among(conn, table.c.key, list(keys))))
    return {row[0]: (row[1], row[2]) for row in rows}


def _ids(conn: Connection, keys: Sequence[str]) -> dict[str, int]:
    table = tables.listing
    rows = conn.execute(select(table.c.key, table.c.id).where(among(conn, table.c.key, keys)))
    return {row[0]: row[1] for row in rows}


def _write_listings(
    conn: Connection, listings: Sequence[Listing], texts: Mapping[str, str], known: Iterable[str]
) -> None:
    taken = set(known)
    rows = [listing_row(one, texts[one.key]) for one in listings]
    if fresh := [row for row in rows if row["key"] not in taken]:
        conn.execute(insert(tables.listing), fresh)
    if old := [row for row in rows if row["key"] in taken]:
        columns: dict[str, Any] = {
            name: bindparam(f"new_{name}") for name in old[0] if name != "key"
        }
        query = update(tables.listing).where(tables.listing.c.key == bindparam("at_key"))
        bound = [{("at_key" if k == "key" else f"new_{k}"): v for k, v in r.items()} for r in old]
        conn.execute(query.values(columns), bound)


def listing_row(listing: Listing, data: str) -> dict[str, Any]:
    """The columns of a listing beside its number."""
    return {
        "key": listing.key,
        "supplier": listing.supplier,
        "host": None if listing.url is None else host_key(listing.url),
        "fresh": fresh_micros(listing),
        "removed_at": None,
        "data": data,
    }


def _set_polls(
    conn: Connection, listings: Sequence[Listing], ids: Mapping[str, int], now: datetime
) -> None:
    """Due times: at once for new pages, sooner where the interval became shorter."""
    by_hand = [ids[one.key] for one in listings if one.url is None]
    delete_where(conn, tables.poll.c.listing, by_hand)
    polled = [one for one in listings if one.url is not None]
    add_new(conn, tables.poll, [new_poll(ids[one.key], now) for one in polled])
    fresh = [(fresh_micros(one), ids[one.key], fresh_micros(one)) for one in listings]
    run_many(conn, "UPDATE running SET fresh = ? WHERE listing = ? AND fresh <> ?", fresh)
    sooner = [(to_micros(now + one.every), ids[one.key]) for one in polled]
    run_many(
        conn,
        "UPDATE poll SET next_due_at = ? WHERE listing = ? AND next_due_at > ?",
        [(at, listing, at) for at, listing in sooner],
    )


def fresh_micros(listing: Listing) -> int:
    """How long a price of it may be used, in microseconds; a longer pause is a gap."""
    return fresh_for(listing.every) // timedelta(microseconds=1)


def new_poll(listing: int, now: datetime) -> dict[str, Any]:
    """The poll state of a listing that was never visited."""
    return {"listing": listing, "next_due_at": now, "failures": 0, "missing": 0}


def save_builds(conn: Connection, builds: Sequence[Build]) -> int:
    """Builds with their lines; a changed build writes its lines anew."""
    heads = {build.key: dumps(replace(build, lines=())) for build in builds}
    changed = _save(conn, tables.build, heads, {b.key: {"base": b.base} for b in builds})
    lines = {build.key: [dumps(line) for line in build.lines] for build in builds}
    kept = _kept_lines(conn, heads)
    changed |= {key for key in lines if lines[key] != kept.get(key, [])}
    delete_where(conn, tables.line.c.build, changed)
    delete_where(conn, tables.build_part.c.build, changed)
    anew = [build for build in builds if build.key in changed]
    if rows := [row for build in anew for row in _line_rows(build, lines[build.key])]:
        conn.execute(insert(tables.line), rows)
    if used := [{"build": b.key, "part": part} for b in anew for part in sorted(_uses(b))]:
        conn.execute(insert(tables.build_part), used)
    return len(changed)


def _kept_lines(conn: Connection, keys: Iterable[str]) -> dict[str, list[str]]:
    table = tables.line
    query = select(table.c.build, table.c.data).where(among(conn, table.c.build, list(keys)))
    kept: dict[str, list[str]] = {}
    for key, data in conn.execute(query.order_by(table.c.build, table.c.position)):
        kept.setdefault(key, []).append(data)
    return kept


def _line_rows(build: Build, texts: Sequence[str]) -> Iterable[dict[str, Any]]:
    for position, (line, data) in enumerate(zip(build.lines, texts, strict=True)):
        yield {
            "build": build.key,
            "position": position,
            "part": line.part,
            "need": "\n".join(sorted(line.need)) or None,
            "data": data,
        }


def _uses(build: Build) -> set[str]:
    lines = {part for line in build.lines for part in _parts(line)}
    return lines | {change.new for change in build.replace if change.new is not None}


def _parts(line: Line) -> Iterable[str]:
    if line.part is not None:
        yield line.part
    yield from (alternative.part for alternative in line.choose)


def save_targets(conn: Connection, targets: Sequence[Target]) -> int:
    """Targets by key."""
    more = {one.key: {"kind": one.kind, "subject": one.subject} for one in targets}
    return len(_save(conn, tables.target, {one.key: dumps(one) for one in targets}, more))
