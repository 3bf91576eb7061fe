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
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple, Protocol

from scrapers import Tax
from service.model.prices import FRESH_AT_LEAST, Spell

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
DAY_US = 86_400_000_000


Row = tuple[int, int, int, int | None, str, str, str, int]


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
    since = moment - EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


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
    spans = [(s.offer.price, to_us(s.first_seen), to_us(s.last_seen)) for s in alike]
    pieces = _pieces(spans, _holes(gaps), now, fresh // MICROSECOND)
    currency = known[-1].offer.currency if known else None
    return Track(pieces, [p.seen for p in pieces], now, currency, len(known) - len(alike))


def track_of_rows(
    rows: Sequence[Row],
    holes: Sequence[tuple[int, int]] = (),
    *,
    at: int,
    fresh: int = FRESH_AT_LEAST // MICROSECOND,
) -> Track:
    """The same from rows as a store keeps them, without making spells of them first.

    `rows`: first and last seen (microseconds), price (steps of 1/10000), list price, currency,
    availability, tax, polls, in time order. `holes`: silences, rising.
    """
    known = [row for row in rows if row[0] <= at]
    if not known:
        return Track([], [], at, None)
    currency, tax = known[-1][4], known[-1][6]
    footings = {tax, "unknown"}
    if tax == "unknown":
        alike = [row for row in known if row[4] == currency]
    else:
        alike = [row for row in known if row[4] == currency and row[6] in footings]
    prices = {step: Decimal(step).scaleb(-4) for step in {row[2] for row in alike}}
    spans = [(prices[row[2]], row[0], row[1]) for row in alike]
    pieces = _pieces(spans, list(holes), at, fresh)
    return Track(pieces, [p.seen for p in pieces], at, currency, len(known) - len(alike))


def _comparable(spell: Spell, newest: Spell) -> bool:
    one, other = spell.offer, newest.offer
    if one.currency != other.currency:
        return False
    return one.tax is other.tax or Tax.UNKNOWN in (one.tax, other.tax)


def _holes(gaps: Iterable[Stretch]) -> list[tuple[int, int]]:
    return sorted((to_us(gap.start), to_us(gap.end)) for gap in gaps)


def _pieces(
    spans: Sequence[tuple[Decimal, int, int]], holes: list[tuple[int, int]], now: int, fresh: int
) -> list[Piece]:
    """Pieces of spans (price, first and last seen) that held until the next, or for `fresh`."""
    pieces: list[Piece] = []
    following: int | None = None
    for price, start, last in reversed(spans):
        seen = min(last, now)
        if following is None:
            end = min(now, seen + fresh)
        else:
            end = following if following - seen <= fresh else seen
        pieces.append(Piece(price, start, seen, max(end, seen)))
        following = start
    pieces.reverse()
    if not holes:
        return pieces
    return [part for piece in pieces for part in _cut(piece, holes)]


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
    pieces = track.pieces
    first = watched = 0
    for index, piece in enumerate(pieces):
        watched += piece.end - piece.start
        following = pieces[index + 1] if index + 1 < len(pieces) else None
        if following is not None and following.price == piece.price:
            continue
        end = piece.end if following is None else following.start
        runs.append(Run(piece.price, pieces[first].start, piece.seen, end, watched))
        first, watched = index + 1, 0
    return runs
