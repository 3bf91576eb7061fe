"""Suppliers, parts, listings, builds and targets in the store."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Connection, delete, select, update

from service.builds.specs import canonical, spec_keys
from service.model.book import Book
from service.model.builds import Build, Line
from service.model.catalogue import Listing, Part, Supplier
from service.model.deals import Target
from service.store import moves, tables
from service.store.bulk import among
from service.store.codec import loads, loads_once
from service.store.diary import diary_of
from service.store.purchases import Purchases
from service.store.saving import save_book

if TYPE_CHECKING:
    from collections.abc import Collection

T = TypeVar("T")
CLASS = {"class"}  # a requirement on the goods class, which is no specification
MANY = 1000


class Catalogue:
    """CatalogueStore on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def suppliers(self) -> dict[str, Supplier]:
        """By key, in the order of the keys."""
        return self._all(tables.supplier, Supplier)

    def parts(self) -> dict[str, Part]:
        """By key, in the order of the keys."""
        return self._all(tables.part, Part)

    def targets(self) -> list[Target]:
        """In the order of their keys."""
        return list(self._all(tables.target, Target).values())

    def remove_target(self, key: str) -> bool:
        """False: there was none. Its deals stay as they are."""
        gone = self._conn.execute(delete(tables.target).where(tables.target.c.key == key))
        return bool(gone.rowcount)

    def _all(self, table: Any, kind: type[T]) -> dict[str, T]:
        rows = self._conn.execute(select(table.c.key, table.c.data))
        return {key: loads(kind, data) for key, data in sorted((row[0], row[1]) for row in rows)}

    def listings(self, ids: Collection[int] | None = None) -> list[Listing]:
        """Those that were not removed, by number; of `ids` also the removed ones."""
        table = tables.listing
        query = select(table.c.id, table.c.data).order_by(table.c.id)
        if ids is None:
            query = query.where(table.c.removed_at.is_(None))
        else:
            query = query.where(among(self._conn, table.c.id, ids))
        # A pass of polls names thousands that are not soon asked for again: 1.2 KiB each.
        decode = loads_once if ids is not None and len(ids) > MANY else loads
        rows = self._conn.execute(query)
        return [replace(decode(Listing, row[1]), id=row[0]) for row in rows]

    def listing(self, key: str) -> Listing | None:
        """By its lasting name; None where there is none or it was removed."""
        table = tables.listing
        query = select(table.c.id, table.c.data)
        query = query.where(table.c.key == key, table.c.removed_at.is_(None))
        row = self._conn.execute(query).first()
        return None if row is None else _listing(row)

    def listings_of(self, part: str) -> list[Listing]:
        """Every listing that supplies the part, sets included."""
        table, supply = tables.listing, tables.supply
        query = select(table.c.id, table.c.data).order_by(table.c.id)
        query = query.join(supply, supply.c.listing == table.c.id)
        query = query.where(supply.c.part == part, table.c.removed_at.is_(None))
        return [_listing(row) for row in self._conn.execute(query)]

    def pages_of(self, supplier: str) -> list[int]:
        """The numbers of a supplier's listings that have a page and were not removed."""
        table = tables.listing
        query = select(table.c.id).order_by(table.c.id).where(table.c.supplier == supplier)
        query = query.where(table.c.host.is_not(None), table.c.removed_at.is_(None))
        return list(self._conn.scalars(query))

    def builds(self) -> dict[str, Build]:
        """By key, in the order of the keys."""
        return self._builds(None)

    def build(self, key: str) -> Build | None:
        """One build with its lines."""
        return self._builds([key]).get(key)

    def _builds(self, keys: Collection[str] | None) -> dict[str, Build]:
        build, line = tables.build, tables.line
        heads = select(build.c.key, build.c.data)
        rows = select(line.c.build, line.c.data).order_by(line.c.build, line.c.position)
        if keys is not None:
            heads = heads.where(among(self._conn, build.c.key, keys))
            rows = rows.where(among(self._conn, line.c.build, keys))
        lines: dict[str, list[Line]] = {}
        for key, data in self._conn.execute(rows):
            lines.setdefault(key, []).append(loads(Line, data))
        found = sorted((row[0], row[1]) for row in self._conn.execute(heads))
        return {
            key: replace(loads(Build, data), lines=tuple(lines.get(key, ()))) for key, data in found
        }

    def builds_using(self, listings: Collection[int]) -> list[Build]:
        """Builds whose cost these listings can change, versions of them included.

        A line that only names a requirement counts where the part has every
        property that it asks for, whatever the value.
        """
        if not listings:
            return []
        parts = self._parts_of(listings)
        keys = self._naming(parts) | self._needing(parts)
        return list(self._builds(self._with_versions(keys)).values()) if keys else []

    def _parts_of(self, listings: Collection[int]) -> set[str]:
        supply, stand_in = tables.supply, tables.stand_in
        query = select(supply.c.part).where(among(self._conn, supply.c.listing, listings))
        parts = set(self._conn.scalars(query))
        others = select(stand_in.c.part).where(among(self._conn, stand_in.c.other, parts))
        return parts | set(self._conn.scalars(others))

    def _naming(self, parts: Collection[str]) -> set[str]:
        table = tables.build_part
        query = select(table.c.build).where(among(self._conn, table.c.part, parts))
        return set(self._conn.scalars(query))

    def _needing(self, parts: Collection[str]) -> set[str]:
        line, part = tables.line, tables.part
        query = select(line.c.build, line.c.need).where(line.c.need.is_not(None)).distinct()
        rows = self._conn.execute(query)
        needs = [(row[0], {canonical(x) for x in row[1].split("\n")} - CLASS) for row in rows]
        if not needs:
            return set()
        found = select(part.c.data).where(among(self._conn, part.c.key, parts))
        specs = [spec_keys(loads(Part, data)) for data in self._conn.scalars(found)]
        return {build for build, need in needs if any(need <= spec for spec in specs)}

    def _with_versions(self, keys: set[str]) -> set[str]:
        table = tables.build
        rows = self._conn.execute(
            select(table.c.key, table.c.base).where(table.c.base.is_not(None))
        )
        bases = [(row[0], row[1]) for row in rows]
        found, grown = set(keys), True
        while grown:
            more = {key for key, base in bases if base in found} - found
            found |= more
            grown = bool(more)
        return found

    def book(self) -> Book:
        """All that is kept, as one value; what was removed is left out."""
        bought = tuple(Purchases(self._conn).all(cancelled=True))
        return Book(
            tuple(self.suppliers().values()),
            tuple(self.parts().values()),
            tuple(self.listings()),
            tuple(self.builds().values()),
            bought,
            tuple(self.targets()),
            **diary_of(self._conn, bought),
        )

    def save(self, book: Book, *, now: datetime) -> int:
        """Upsert everything in `book` by key; answers how many things changed.

        What `book` does not name stays. A listing with a URL is due at once,
        one by hand never.
        """
        return save_book(self._conn, book, now)

    def remove_listing(self, key: str, *, now: datetime | None = None) -> bool:
        """No longer polled, shown or priced; its history stays. False: there is none."""
        query = (
            update(tables.listing)
            .where(tables.listing.c.key == key, tables.listing.c.removed_at.is_(None))
            .values(removed_at=now or datetime.now(UTC))
        )
        return self._conn.execute(query).rowcount > 0

    def move_listing(self, key: str, url: str, *, now: datetime) -> Listing:
        """The page has a new address: same listing, same history. See `moves.move`."""
        return moves.move(self._conn, key, url, now)

    def split_listing(self, key: str, at: datetime, new: Listing, *, now: datetime) -> Listing:
        """The page began to sell something else at `at`. See `moves.split`."""
        return moves.split(self._conn, key, at, new, now)


def _listing(row: Any) -> Listing:
    return replace(loads(Listing, row[1]), id=row[0])
