"""A page that moves to a new address, or that begins to sell something else."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, insert, select, update

from service.errors import InputError, NotFoundError
from service.model.catalogue import Listing, listing_key
from service.store import past, tables
from service.store.codec import dumps, loads
from service.store.saving import fresh_micros, listing_row, new_poll, save_listings
from service.store.types import to_micros

if TYPE_CHECKING:
    from datetime import datetime


def move(conn: Connection, key: str, url: str, now: datetime) -> Listing:
    """Same number, same history, new key; targets and lines that name the old key follow.

    NotFoundError: no such listing. InputError: another listing has that address.
    """
    old = _find(conn, key)
    part = old.supplies[0].part
    moved = replace(old, url=url, key=listing_key(old.supplier, part, url, old.choice))
    _rename(conn, old, moved)
    _follow(conn, old.key, moved.key)
    conn.execute(delete(tables.page).where(tables.page.c.listing == old.id))
    conn.execute(delete(tables.poll).where(tables.poll.c.listing == old.id))
    conn.execute(insert(tables.poll), new_poll(old.id, now))
    return moved


def split(conn: Connection, key: str, at: datetime, new: Listing, now: datetime) -> Listing:
    """Prices before `at` stay with the old goods, those from `at` on go to `new`.

    The old listing keeps its number and history under the key `KEY@DATE`,
    without an address; `new` takes over the key and the address.
    Answers `new` as stored. NotFoundError, InputError.
    """
    old = _find(conn, key)
    if new.key != key:
        raise InputError(f"the listing that follows on {key} must have the same key and address")
    _rename(conn, old, replace(old, key=f"{key}@{at:%Y-%m-%d}", url=None))
    for table in (tables.page, tables.poll, tables.doubt):
        conn.execute(delete(table).where(table.c.listing == old.id))
    save_listings(conn, [new], now)
    stored = _find(conn, key)
    line = past.timelines(conn, [old.id])[old.id]
    tail = line.cut(to_micros(at))
    tail.fresh = fresh_micros(stored)
    past.save(conn, {old.id: line, stored.id: tail})
    return stored


def _find(conn: Connection, key: str) -> Listing:
    table = tables.listing
    row = conn.execute(select(table.c.id, table.c.data).where(table.c.key == key)).first()
    if row is None:
        raise NotFoundError(f"no listing {key}")
    return replace(loads(Listing, row[1]), id=row[0])


def _rename(conn: Connection, old: Listing, new: Listing) -> None:
    table = tables.listing
    taken = conn.scalar(select(table.c.id).where(table.c.key == new.key, table.c.id != old.id))
    if taken is not None:
        raise InputError(f"{new.key} is a listing already: remove it first, or keep both")
    row = listing_row(new, dumps(replace(new, id=0)))
    conn.execute(update(table).where(table.c.id == old.id).values(row))


def _follow(conn: Connection, old: str, new: str) -> None:
    """Targets and lines name a listing by its key."""
    target = tables.target
    found = select(target.c.key, target.c.data).where(
        target.c.kind == "listing", target.c.subject == old
    )
    for key, data in conn.execute(found).all():
        _move_target(conn, key, key.replace(old, new), data, new)
    line = tables.line
    for build, position, data in conn.execute(
        select(line.c.build, line.c.position, line.c.data).where(line.c.data.contains(old))
    ).all():
        held = json.loads(data)
        if held.get("listing") == old:
            at_line = (line.c.build == build, line.c.position == position)
            conn.execute(update(line).where(*at_line).values(data=_with(data, listing=new)))


def _move_target(conn: Connection, key: str, to: str, data: str, subject: str) -> None:
    table = tables.target
    moved = _with(data, key=to, subject=subject)
    conn.execute(
        update(table).where(table.c.key == key).values(key=to, subject=subject, data=moved)
    )
    conn.execute(update(tables.met).where(tables.met.c.target == key).values(target=to))
    deal = tables.deal
    for name, held in conn.execute(
        select(deal.c.key, deal.c.data).where(deal.c.target == key)
    ).all():
        changed = _with(held, target=to, subject=subject)
        conn.execute(update(deal).where(deal.c.key == name).values(target=to, data=changed))


def _with(data: str, **values: Any) -> str:
    held = json.loads(data) | values
    return json.dumps(held, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
