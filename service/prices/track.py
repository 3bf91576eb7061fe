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
from typing import TYPE_CHECKING, Protocol

from scrapers import Tax
from service.model.prices import FRESH_AT_LEAST, Spell

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


@dataclass(frozen=True, slots=True)
class Piece:
    """One price without a gap: first and last seen, held until `end` (exclusive); microseconds."""

    price: Decimal
    start: int
    seen: int
    end: int


@dataclass(frozen=True, slots=True)
class Run:
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

    def held_since(self, moment: int) -> list[Piece]:
        """Pieces that held after `moment`, though they may have been seen last before it."""
        first = bisect_left(self.seen, moment)
        if first and self.pieces[first - 1].end > moment:
            first -= 1
        return self.pieces[first:]

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
    return (moment - EPOCH) // MICROSECOND


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
    known = [spell for spell in spells if spell.first_seen <= at]
    alike = [spell for spell in known if _comparable(spell, known[-1])]
    pieces = _pieces(alike, _holes(gaps), now, fresh // MICROSECOND)
    currency = known[-1].offer.currency if known else None
    return Track(pieces, [p.seen for p in pieces], now, currency, len(known) - len(alike))


def _comparable(spell: Spell, newest: Spell) -> bool:
    one, other = spell.offer, newest.offer
    if one.currency != other.currency:
        return False
    return one.tax is other.tax or Tax.UNKNOWN in (one.tax, other.tax)


def _holes(gaps: Iterable[Stretch]) -> list[tuple[int, int]]:
    return sorted((to_us(gap.start), to_us(gap.end)) for gap in gaps)


def _pieces(
    spells: Sequence[Spell], holes: list[tuple[int, int]], now: int, fresh: int
) -> list[Piece]:
    starts = [to_us(spell.first_seen) for spell in spells]
    seen = [min(to_us(spell.last_seen), now) for spell in spells]
    pieces: list[Piece] = []
    for i, spell in enumerate(spells):
        following = starts[i + 1] if i + 1 < len(spells) else min(now, seen[i] + fresh)
        held = following if following - seen[i] <= fresh else seen[i]
        piece = Piece(spell.offer.price, starts[i], seen[i], max(held, seen[i]))
        pieces.extend(_cut(piece, holes) if holes else (piece,))
    return pieces


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
    for piece in track.pieces:
        watched = piece.end - piece.start
        if runs and runs[-1].price == piece.price:
            last = runs[-1]
            runs[-1] = Run(last.price, last.start, piece.seen, piece.end, last.watched + watched)
        else:
            if runs:
                last = runs[-1]
                runs[-1] = Run(last.price, last.start, last.seen, piece.start, last.watched)
            runs.append(Run(piece.price, piece.start, piece.seen, piece.end, watched))
    return runs
