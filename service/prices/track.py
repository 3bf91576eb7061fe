"""A price over time as columns: what was seen, how long it held, and when nobody looked.

Times are integers of microseconds since 1970 inside this package: comparisons
and sums stay exact, and five years of a listing take less than a millisecond.
A price holds from the reading that first showed it to the next reading, but at
most `fresh` after it was last confirmed; a longer silence is a gap, whole.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple, Protocol

from scrapers import Tax
from service.model.prices import FRESH_AT_LEAST, Offer, Spell

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
DAY_US = 86_400_000_000


class Stretch(Protocol):
    """A stretch of time in which nobody looked."""

    @property
    def start(self) -> datetime: ...
    @property
    def end(self) -> datetime: ...


@dataclass(frozen=True, slots=True)
class Silence:
    """A stretch of time without a usable price."""

    start: datetime
    end: datetime


class Piece(NamedTuple):
    """One price without a gap: first and last seen, held until `end` (exclusive); microseconds."""

    price: Decimal
    start: int
    seen: int
    end: int


class Run(NamedTuple):
    """A price spell: equal prices in a row, whatever else changed and whoever looked away.

    `watched`: microseconds of it that were observed. `end`: start of the next run,
    or for the last one how long it held.
    """

    price: Decimal
    start: int
    seen: int
    end: int
    watched: int


@dataclass(frozen=True, slots=True)
class Track:
    """A subject's observed pieces in time order up to `at`, with the columns of their times."""

    pieces: list[Piece]
    seen: list[int]
    at: int
    currency: str | None
    left_out: int = 0  # spells in another currency or on another tax footing than the newest

    def since(self, moment: int) -> list[Piece]:
        """Pieces that were seen at or after `moment`."""
        return self.pieces[bisect_left(self.seen, moment) :]

    def first_held(self, moment: int) -> int:
        """Position of the first piece that held after `moment`, be it seen last before that."""
        first = bisect_left(self.seen, moment)
        return first - 1 if first and self.pieces[first - 1].end > moment else first

    def held_since(self, moment: int) -> list[Piece]:
        """Pieces that held after `moment`."""
        return self.pieces[self.first_held(moment) :]

    @property
    def stands(self) -> bool:
        """Whether the last price is recent enough to stand at the track's time."""
        return bool(self.pieces) and max(self.pieces[-1].end, self.pieces[-1].seen) >= self.at

    @property
    def watched(self) -> int:
        """Microseconds that were observed."""
        return sum(piece.end - piece.start for piece in self.pieces)


def to_us(moment: datetime) -> int:
    """Microseconds since 1970-01-01 UTC, exact."""
    return all_us([moment])[0]


def all_us(moments: Iterable[datetime]) -> list[int]:
    """The same of many."""
    since = [moment - EPOCH for moment in moments]
    return [(d.days * 86_400 + d.seconds) * 1_000_000 + d.microseconds for d in since]


def from_us(us: int) -> datetime:
    """Aware UTC of microseconds since 1970."""
    return EPOCH + timedelta(microseconds=us)


def make_track(
    spells: Sequence[Spell],
    gaps: Iterable[Stretch] = (),
    *,
    at: datetime,
    fresh: timedelta = FRESH_AT_LEAST,
) -> Track:
    """The track of `spells` (time order, not overlapping) as known at `at`.

    Only spells in the currency and on the tax footing of the newest are
    compared; unknown footing compares with any.
    """
    now = to_us(at)
    known = spells
    if spells and spells[-1].first_seen > at:
        known = [spell for spell in spells if spell.first_seen <= at]
    if not known:
        return Track([], [], now, None)
    newest = known[-1].offer
    alike = _comparable(known, newest)
    pieces = _pieces(alike, now, fresh // MICROSECOND)
    holes = _holes(gaps)
    if holes:
        pieces = [part for piece in pieces for part in _cut(piece, holes)]
    return Track(pieces, [p.seen for p in pieces], now, newest.currency, len(known) - len(alike))


def _comparable(spells: Sequence[Spell], newest: Offer) -> list[Spell]:
    currency = newest.currency
    footings = tuple(Tax) if newest.tax is Tax.UNKNOWN else (newest.tax, Tax.UNKNOWN)
    return [s for s in spells if s.offer.currency == currency and s.offer.tax in footings]


def _holes(gaps: Iterable[Stretch]) -> list[tuple[int, int]]:
    return sorted((to_us(gap.start), to_us(gap.end)) for gap in gaps)


def _pieces(spells: Sequence[Spell], now: int, fresh: int) -> list[Piece]:
    """A piece of each spell: held until the next was seen, or for `fresh`, or not at all longer."""
    starts = all_us([spell.first_seen for spell in spells])
    seen = all_us([spell.last_seen for spell in spells])
    seen[-1] = min(seen[-1], now)
    ends = [
        following if following - last <= fresh else last
        for following, last in zip(starts[1:], seen, strict=False)
    ]
    ends.append(max(seen[-1], min(now, seen[-1] + fresh)))
    return list(map(Piece, [spell.offer.price for spell in spells], starts, seen, ends))


def _cut(piece: Piece, holes: list[tuple[int, int]]) -> list[Piece]:
    """What is left of a piece outside the holes; a reading at a hole's edge stays."""
    left: list[Piece] = []
    start = piece.start
    for low, high in holes:
        if high <= start or low >= piece.end:
            continue
        if low >= start:
            left.append(Piece(piece.price, start, min(piece.seen, low), low))
        start = high
    if start <= piece.seen or start < piece.end:
        left.append(Piece(piece.price, start, max(piece.seen, start), piece.end))
    return left


def runs_of(track: Track) -> list[Run]:
    """Pieces of equal price in a row joined; gaps within stay unwatched."""
    runs: list[Run] = []
    if not track.pieces:
        return runs
    price, begun, last, until = track.pieces[0]
    watched = 0
    for cost, start, seen, end in track.pieces:
        if cost != price:
            runs.append(Run(price, begun, last, start, watched))
            price, begun, watched = cost, start, 0
        watched += end - start
        last, until = seen, end
    runs.append(Run(price, begun, last, until, watched))
    return runs
