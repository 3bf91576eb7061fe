"""The price log as columns in memory, for questions over all listings at once.

Kept warm and brought up to date from the log: what merely ran on is read as
one narrow table, finished spells are read once. Times are microseconds since
the epoch, prices 1/10000 of the unit of the listing's present currency; spells
in another currency are not compared. A price holds until the next one is seen,
but not through a pause longer than the listing's price may be used.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    Ints = NDArray[np.int64]
    Flags = NDArray[np.bool_]

NONE: Final = -1  # no price
_NEVER: Final = np.iinfo(np.int64).max
_HEAD: Final = "listing, first_seen, last_seen, price, currency"


@dataclass(frozen=True)
class Columns:
    """A snapshot: one row a spell, by listing and time; `listings` are the ones that have any.

    `start[i]`: where the spells of `listings[i]` begin. Answers of the
    questions are arrays beside `listings`, `NONE` where nothing is known.
    """

    listing: Ints
    first: Ints
    last: Ints
    price: Ints
    currency: Ints  # index into `names`
    names: list[str]
    fresh: Ints  # per listing
    gaps: tuple[Ints, Ints, Ints]  # listing, start, until; by listing and time

    @cached_property
    def start(self) -> Ints:
        """Where each listing's spells begin."""
        return _starts(self.listing)

    @cached_property
    def listings(self) -> Ints:
        """The numbers of the listings that have a price, in order."""
        return self.listing[self.start]

    @cached_property
    def end(self) -> Ints:
        """Where each listing's last spell lies."""
        return np.append(self.start[1:], len(self.listing)) - 1

    @cached_property
    def held(self) -> Ints:
        """Until when each price held; the newest as long as it may be used."""
        following = np.append(self.first[1:], 0)
        fresh = np.repeat(self.fresh, np.diff(np.append(self.start, len(self.listing))))
        held = np.where(following - self.last <= fresh, following, self.last)
        held[self.end] = self.last[self.end] + self.fresh
        return held

    @cached_property
    def alike(self) -> Flags | None:
        """Which spells are in their listing's present currency; None: all."""
        counts = np.diff(np.append(self.start, len(self.listing)))
        same: Flags = self.currency == np.repeat(self.currency[self.end], counts)
        return None if same.all() else same

    def as_of(self, at: int) -> tuple[Ints, Ints]:
        """Price of each listing at `at`, and when it was last seen at or before that."""
        if not len(self.listing):
            return self.first, self.first
        index = self.start - 1 + np.add.reduceat(self.first <= at, self.start, dtype=np.int64)
        known = index >= self.start
        index = np.where(known, index, self.start)
        seen = np.minimum(self.last[index], at)
        owner, begin, until = self.gaps
        inside = (begin < at) & (until > at)
        if inside.any():
            seen[np.searchsorted(self.listings, owner[inside])] = begin[inside]
        return np.where(known, self.price[index], NONE), np.where(known, seen, NONE)

    def lowest(self, since: int, until: int) -> Ints:
        """The lowest price that held at any time of [since, until]."""
        if not len(self.listing):
            return self.first
        usable = (self.first <= until) & (self.held >= since)
        if self.alike is not None:
            usable &= self.alike
        found: Ints = np.minimum.reduceat(np.where(usable, self.price, _NEVER), self.start)
        return np.where(found == _NEVER, NONE, found)

    def median(self, since: int, until: int) -> Ints:
        """Time-weighted median of the prices that held in [since, until], gaps left out.

        The lowest price that held for at least half of the time that is known
        (Cormen et al., Introduction to Algorithms, problem 9-2: lower weighted median).
        """
        if not len(self.listing):
            return self.first
        order, place = self._by_price
        weight = self._weight(since, until)[order]
        total = np.cumsum(weight)
        before = np.concatenate(([0], total[place[1:] - 1]))
        whole = np.append(before[1:], total[-1]) - before
        index = np.searchsorted(total, before + (whole + 1) // 2)
        found = self.price[order[np.minimum(index, len(order) - 1)]]
        return np.where(whole > 0, found, NONE)

    def _weight(self, since: int, until: int) -> Ints:
        weight = np.minimum(self.held, until) - np.maximum(self.first, since)
        weight = np.maximum(weight, 0)
        owner, begin, finish = self.gaps
        inside = (begin < until) & (finish > since)
        if inside.any():
            lost = np.minimum(finish[inside], until) - np.maximum(begin[inside], since)
            np.subtract.at(weight, self._spell_of(owner[inside], begin[inside]), lost)
        if self.alike is not None:
            weight = np.where(self.alike, weight, 0)
        return weight

    def _spell_of(self, owner: Ints, at: Ints) -> Ints:
        """The rows of the spells that run at these times: few, so one by one."""
        place = np.searchsorted(self.listings, owner)
        low, high = self.start[place], self.end[place] + 1
        rows = [
            lo + np.searchsorted(self.first[lo:hi], moment, side="right") - 1
            for lo, hi, moment in zip(low, high, at, strict=True)
        ]
        return np.array(rows, dtype=np.int64)

    @cached_property
    def _by_price(self) -> tuple[Ints, Ints]:
        """Rows by listing and price; where each listing's begin."""
        return np.lexsort((self.price, self.listing)), self.start


@dataclass
class Memory:
    """The columns of one store, brought up to date when asked for."""

    version: int = -1
    rebuilt: int = -1
    columns: Columns | None = None
    codes: dict[str, int] = field(default_factory=dict)

    def fresh(self, conn: Connection) -> Columns:
        """Columns that hold all that the connection's transaction sees."""
        row = conn.exec_driver_sql("SELECT version, rebuilt FROM log_version").one()
        if self.columns is None or not len(self.columns.listing) or row.rebuilt != self.rebuilt:
            self.columns = self._load(conn)
        elif row.version != self.version:
            self.columns = self._refresh(conn, self.columns)
        self.version, self.rebuilt = row.version, row.rebuilt
        return self.columns

    def _load(self, conn: Connection) -> Columns:
        spells = self._rows(
            conn, f"SELECT {_HEAD} FROM spell UNION ALL SELECT {_HEAD} FROM running"
        )
        return self._columns(conn, spells[:, np.lexsort((spells[1], spells[0]))])

    def _refresh(self, conn: Connection, old: Columns) -> Columns:
        running = self._rows(conn, f"SELECT {_HEAD} FROM running ORDER BY listing")
        place = np.searchsorted(old.listings, running[0])
        place = np.minimum(place, len(old.listings) - 1)
        known = old.listings[place] == running[0]
        row = old.end[place]
        same = known & (old.first[row] == running[1])
        last = old.last.copy()
        last[row[same]] = running[2][same]
        kept = np.vstack((old.listing, old.first, last, old.price, old.currency))
        changed = known & ~same
        kept = np.delete(kept, row[changed], axis=1)
        since = np.where(known, old.first[row], 0)
        closed = self._closed(conn, running[0][~same], since[~same])
        return self._columns(conn, _merge(kept, np.hstack((closed, running[:, ~same]))))

    def _closed(self, conn: Connection, listings: Ints, since: Ints) -> Ints:
        """Spells that ended since the columns were loaded."""
        mark = "?" if conn.dialect.name == "sqlite" else "%s"
        query = f"SELECT {_HEAD} FROM spell WHERE listing = {mark} AND first_seen >= {mark}"
        rows: list[Sequence[Any]] = []
        for listing, first in zip(listings.tolist(), since.tolist(), strict=True):
            rows += conn.exec_driver_sql(query, (listing, first)).all()
        return self._array(rows)

    def _rows(self, conn: Connection, query: str) -> Ints:
        return self._array(conn.exec_driver_sql(query).all())

    def _array(self, rows: Sequence[Sequence[Any]]) -> Ints:
        """Five rows of numbers: listing, first, last, price, currency."""
        if not rows:
            return np.zeros((5, 0), dtype=np.int64)
        *numbers, currencies = zip(*rows, strict=True)
        for name in set(currencies) - self.codes.keys():
            self.codes[name] = len(self.codes)
        codes = np.array([self.codes[name] for name in currencies], dtype=np.int64)
        return np.vstack((*(np.array(column, dtype=np.int64) for column in numbers), codes))

    def _columns(self, conn: Connection, spells: Ints) -> Columns:
        fresh = conn.exec_driver_sql("SELECT fresh FROM running ORDER BY listing").all()
        gaps = conn.exec_driver_sql("SELECT listing, start, until FROM gap ORDER BY 1, 2").all()
        holes = np.array([tuple(row) for row in gaps], dtype=np.int64).reshape(-1, 3).T
        return Columns(
            *(spells[0], spells[1], spells[2], spells[3], spells[4]),
            list(self.codes),
            np.array([row[0] for row in fresh], dtype=np.int64),
            (holes[0], holes[1], holes[2]),
        )


def _merge(kept: Ints, new: Ints) -> Ints:
    """New rows into rows by listing and time, each listing's after those it has."""
    new = new[:, np.lexsort((new[1], new[0]))]
    return np.insert(kept, np.searchsorted(kept[0], new[0], side="right"), new, axis=1)


def _starts(listing: Ints) -> Ints:
    return np.flatnonzero(np.diff(listing, prepend=NONE)).astype(np.int64)
