"""The log as columns: questions about every listing at once, answered by numpy.

The arrays come ready from the store: one row a spell, sorted by listing and time.
Answers have one element a listing; where nothing is known they say so by a mask
or an index of -1. The same rules as in `track` and `stats`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from service.model.prices import FRESH_AT_LEAST
from service.prices.track import DAY_US, MICROSECOND

if TYPE_CHECKING:
    from datetime import timedelta

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
PRICE_BITS = 42  # prices below 2^42 steps of 1/10000 and 2^21 listings share one sort key


def _none() -> Ints:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class SpellColumns:
    """Spells of many listings, sorted by `listing`, then `first`; they never overlap.

    `listing`: 0 .. `count` - 1; `price`: steps of 1/10000, one currency a listing; `first`,
    `last`: microseconds since 1970. `gap_row`, `gap_start`, `gap_end`: stretches nobody looked
    within a spell, and the row of that spell.
    """

    count: int
    listing: Ints
    price: Ints
    first: Ints
    last: Ints
    gap_row: Ints = field(default_factory=_none)
    gap_start: Ints = field(default_factory=_none)
    gap_end: Ints = field(default_factory=_none)

    @cached_property
    def offsets(self) -> Ints:
        """Row at which each listing begins; `count` + 1 elements."""
        return np.searchsorted(self.listing, np.arange(self.count + 1)).astype(np.int64)

    @cached_property
    def following(self) -> Ints:
        """When the next spell of the same listing begins; the largest number where none does."""
        after = np.empty_like(self.first)
        after[:-1] = self.first[1:]
        ends = self.offsets[1:][np.diff(self.offsets) > 0] - 1
        after[ends] = np.iinfo(np.int64).max
        return after

    @cached_property
    def newest(self) -> int:
        """The latest beginning of any spell: later questions need not look at beginnings."""
        return int(self.first.max()) if len(self.first) else np.iinfo(np.int64).min


def row_as_of(columns: SpellColumns, at: int) -> Ints:
    """The row of the spell in force at `at` by listing; -1: none had begun."""
    begins, ends = columns.offsets[:-1], columns.offsets[1:]
    if at >= columns.newest:
        return np.where(ends > begins, ends - 1, -1)
    found = np.flatnonzero((columns.first <= at) & (columns.following > at))
    rows = np.full(columns.count, -1, dtype=np.int64)
    rows[columns.listing[found]] = found
    return rows


def last_seen_by(columns: SpellColumns, rows: Ints, at: int) -> Ints:
    """When each row's spell was last confirmed at or before `at`; microseconds."""
    return _seen(columns, rows, at)


def _seen(columns: SpellColumns, rows: Ints, at: int) -> Ints:
    """`last`, but no later than `at`, nor than the beginning of a silence that holds `at`."""
    seen = np.minimum(columns.last[rows], at)
    inside = (columns.gap_start <= at) & (at < columns.gap_end)
    if inside.any():
        limit = np.full(len(columns.last), at, dtype=np.int64)
        np.minimum.at(limit, columns.gap_row[inside], columns.gap_start[inside])
        seen = np.minimum(seen, limit[rows])
    return seen


def lowest_since(columns: SpellColumns, since: int, at: int) -> tuple[Ints, Mask]:
    """The lowest price seen between two times (both included) and whether any was."""
    rows = np.flatnonzero(columns.last >= since)
    if at < columns.newest:
        rows = rows[columns.first[rows] <= at]
        rows = rows[_seen(columns, rows, at) >= since]
    lows = np.zeros(columns.count, dtype=np.int64)
    known = np.zeros(columns.count, dtype=np.bool_)
    if len(rows):
        groups, starts = _groups(columns.listing[rows])
        lows[groups] = np.minimum.reduceat(columns.price[rows], starts)
        known[groups] = True
    return lows, known


def lowest_in(columns: SpellColumns, days: int, at: int) -> tuple[Ints, Mask]:
    """The lowest price seen within `days` before `at`."""
    return lowest_since(columns, at - days * DAY_US, at)


def median_in(
    columns: SpellColumns, days: int, at: int, *, fresh: timedelta = FRESH_AT_LEAST
) -> tuple[Ints, Mask]:
    """The price that half of the observed time of `days` before `at` was at or below.

    As `PriceStats.median_90d`; the mask says where any price held within the time.
    """
    return quantile_in(columns, days, at, fresh=fresh)


def quantile_in(
    columns: SpellColumns,
    days: int,
    at: int,
    *,
    share: tuple[int, int] = (1, 2),
    fresh: timedelta = FRESH_AT_LEAST,
) -> tuple[Ints, Mask]:
    """The lowest price that at least `share` of the observed time was at or below, by listing."""
    since, part, of = at - days * DAY_US, *share
    rows, weight = _weights(columns, since, at, fresh // MICROSECOND)
    answer = np.zeros(columns.count, dtype=np.int64)
    known = np.zeros(columns.count, dtype=np.bool_)
    if not len(rows):
        return answer, known
    order = np.argsort((columns.listing[rows] << PRICE_BITS) | columns.price[rows], kind="stable")
    rows, weight = rows[order], weight[order]
    groups, starts = _groups(columns.listing[rows])
    reached = np.cumsum(weight)
    before = reached[starts] - weight[starts]
    total = np.append(before[1:], reached[-1]) - before
    found = np.searchsorted(reached, before + -(-total * part // of), side="left")
    answer[groups] = columns.price[rows[np.maximum(found, starts)]]
    known[groups] = True
    return answer, known


def _weights(columns: SpellColumns, since: int, at: int, fresh: int) -> tuple[Ints, Ints]:
    """Rows that held after `since`, and how long each was observed until `at`; microseconds."""
    rows = np.flatnonzero(columns.last >= since - fresh)
    if at < columns.newest:
        rows = rows[columns.first[rows] <= at]
    seen = _seen(columns, rows, at)
    after = columns.following[rows]
    silent_now = seen < np.minimum(columns.last[rows], at)
    latest = np.where(silent_now, seen, np.minimum(seen + fresh, at))
    end = np.where(after > at, latest, np.where(after - seen <= fresh, after, seen))
    held = (seen >= since) | (end > since)
    rows, end = rows[held], end[held]
    weight = end - np.maximum(columns.first[rows], since)
    if len(columns.gap_row):
        weight -= _silent(columns, since, at)[rows]
    return rows, weight


def _silent(columns: SpellColumns, since: int, at: int) -> Ints:
    """Microseconds of silence within each spell since a time; of silences that were over `at`."""
    over = columns.gap_end <= at
    length = np.maximum(columns.gap_end - np.maximum(columns.gap_start, since), 0)
    silent = np.zeros(len(columns.first), dtype=np.int64)
    np.add.at(silent, columns.gap_row[over], length[over])
    return silent


def _groups(listing: Ints) -> tuple[Ints, Ints]:
    """The listings in a sorted column and the row at which each begins."""
    starts = np.flatnonzero(np.concatenate(([True], listing[1:] != listing[:-1])))
    return listing[starts], starts
