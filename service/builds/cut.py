"""How many bars or sheets a cut list takes, and what is left of them.

Bars: the one-dimensional cutting-stock problem (Gilmore and Gomory, Operations Research
9, 1961). A pattern is what one bar is cut into; with all maximal patterns at hand the
integer programme is exact, else patterns come from column generation and the linear
bound says how good the answer is. A cut takes `kerf`: pieces and bar grow by one kerf
each, so that the last piece needs no cut where it ends with the bar.

Sheets: a guillotine heuristic, an estimate that never promises too little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import ceil

from service.builds.fillings import Stick
from service.builds.patterns import cheapest_cutting
from service.errors import InputError

MOST_PIECES = 10_000
Size = tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Piece:
    """`count` pieces of `length` mm."""

    length: Decimal
    count: int


@dataclass(frozen=True, slots=True)
class Bar:
    """One way a bar is cut: so many bars of `length` mm into these pieces, `left` over."""

    length: Decimal
    pieces: tuple[Decimal, ...]
    left: Decimal
    count: int
    bought: bool


@dataclass(frozen=True, slots=True)
class Cutting:
    """`bars` to buy, how they and the user's own are cut, and the least that any plan needs."""

    bars: int
    layout: tuple[Bar, ...]
    least: int

    @property
    def proved(self) -> bool:
        """Whether no cutting can do with fewer bars."""
        return self.bars == self.least

    @property
    def left(self) -> tuple[Piece, ...]:
        """The offcuts, longest first."""
        found = sorted(self.layout, key=lambda bar: bar.left, reverse=True)
        return tuple(Piece(bar.left, bar.count) for bar in found if bar.left > 0)


def cut_bars(
    pieces: Sequence[Piece],
    length: Decimal,
    *,
    kerf: Decimal = Decimal(0),
    own: Sequence[Piece] = (),
) -> Cutting:
    """The fewest bars of `length` mm to buy; `own` bars and offcuts are used first.

    InputError: a piece is longer than every bar, or there are too many.
    """
    return _cut_bars(tuple(pieces), length, kerf, tuple(own))


@lru_cache(maxsize=256)
def _cut_bars(
    pieces: tuple[Piece, ...], length: Decimal, kerf: Decimal, own: tuple[Piece, ...]
) -> Cutting:
    wanted: dict[Decimal, int] = {}
    for piece in pieces:
        wanted[piece.length] = wanted.get(piece.length, 0) + piece.count
    longest = max([length, *(stick.length for stick in own)])
    too_long = [size for size in wanted if size > longest or size <= 0]
    if too_long or sum(wanted.values()) > MOST_PIECES:
        raise InputError(_complaint(too_long, longest))
    sticks = [Stick(length + kerf, 1, None)]
    sticks += [Stick(entry.length + kerf, 0, entry.count) for entry in own]
    sizes = sorted(wanted, reverse=True)
    found = cheapest_cutting([s + kerf for s in sizes], [wanted[s] for s in sizes], sticks)
    layout = _layout(found.used, sizes, [length, *(entry.length for entry in own)], kerf)
    bars = sum(bar.count for bar in layout if bar.bought)
    return Cutting(bars, layout, min(bars, found.least))


def _complaint(too_long: Sequence[Decimal], longest: Decimal) -> str:
    if not too_long:
        return f"more than {MOST_PIECES} pieces in one cut list: divide it"
    return f"a piece of {too_long[0]:f} mm cannot be cut from {longest:f} mm: give a longer bar"


def _layout(
    used: Sequence[tuple[int, tuple[int, ...], int]],
    sizes: Sequence[Decimal],
    lengths: Sequence[Decimal],
    kerf: Decimal,
) -> tuple[Bar, ...]:
    rows = []
    for stick, pattern, count in used:
        pieces = tuple(s for s, n in zip(sizes, pattern, strict=True) for _ in range(n))
        left = lengths[stick] - sum(pieces, Decimal(0)) - kerf * len(pieces)
        rows.append(Bar(lengths[stick], pieces, max(left, Decimal(0)), count, stick == 0))
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class Rect:
    """`count` rectangles of `long` x `wide` mm."""

    long: Decimal
    wide: Decimal
    count: int = 1


@dataclass(frozen=True, slots=True)
class Sheets:
    """An estimate: so many sheets to buy are enough; `least` by area alone.

    `used`: places of the user's own bodies that are cut into. `offcuts`: what is left of
    those and of the new sheets; their first edge lies as that of the sheet.
    """

    sheets: int
    least: int
    offcuts: tuple[Rect, ...] = ()
    used: tuple[int, ...] = ()

    @property
    def proved(self) -> bool:
        """Whether the area alone already asks for as many."""
        return self.sheets == self.least


def cut_sheets(
    rects: Sequence[Rect],
    size: tuple[Decimal, Decimal],
    *,
    kerf: Decimal = Decimal(0),
    turn: bool = True,
    own: Sequence[tuple[Decimal, Decimal]] = (),
) -> Sheets:
    """How many sheets of `size` mm the rectangles take. `turn`: the grain allows it.

    `own` bodies are used first, in the order given. InputError: a rectangle fits in none.
    """
    return _cut_sheets(tuple(rects), size, kerf, turn, tuple(own))


@lru_cache(maxsize=256)
def _cut_sheets(
    rects: tuple[Rect, ...],
    size: tuple[Decimal, Decimal],
    kerf: Decimal,
    turn: bool,
    own: tuple[tuple[Decimal, Decimal], ...],
) -> Sheets:
    whole, *bodies = (_grown(one[0], one[1], kerf) for one in (size, *own))
    grown = [_grown(r.long, r.wide, kerf) for r in rects for _ in range(r.count)]
    if len(grown) > MOST_PIECES:
        raise InputError(_complaint((), size[0]))
    ways = _ways(grown, whole, bodies, turn=turn)
    free = min(ways, key=lambda sheets: (len(sheets), -_largest(sheets)))
    used = tuple(k for k, body in enumerate(bodies) if free[k] != [body])
    cut = [*(free[k] for k in used), *free[len(bodies) :]]
    rest = [_shrunk(gap, kerf) for sheet in cut for gap in sheet]
    bought = len(free) - len(bodies)
    area = sum((long * wide for long, wide in grown), Fraction(0))
    area -= sum((long * wide for long, wide in bodies), Fraction(0))
    least = min(bought, max(0, ceil(area / (whole[0] * whole[1]))))
    return Sheets(bought, least, tuple(r for r in rest if r.long > 0 and r.wide > 0), used)


def _grown(long: Decimal, wide: Decimal, kerf: Decimal) -> Size:
    return Fraction(long + kerf), Fraction(wide + kerf)


def _largest(sheets: Sequence[Sequence[Size]]) -> Fraction:
    return max((a * b for sheet in sheets for a, b in sheet), default=Fraction(0))


def _shrunk(gap: Size, kerf: Decimal) -> Rect:
    long, wide = (Decimal(x.numerator) / Decimal(x.denominator) - kerf for x in gap)
    return Rect(long, wide)


def _orders(grown: Sequence[Size]) -> list[list[Size]]:
    """The orders that shelf heuristics are usually tried in: area, long edge, short edge."""
    return [
        sorted(grown, key=lambda s: (s[0] * s[1], max(s)), reverse=True),
        sorted(grown, key=lambda s: (max(s), min(s)), reverse=True),
        sorted(grown, key=lambda s: (min(s), max(s)), reverse=True),
        sorted(grown, key=lambda s: (s[1], s[0]), reverse=True),
    ]


def _ways(
    grown: Sequence[Size], whole: Size, own: Sequence[Size], *, turn: bool
) -> list[list[list[Size]]]:
    """Packings in several orders, turning as it fits or never, splitting either way."""
    straight = all(long <= whole[0] and wide <= whole[1] for long, wide in grown)
    turns = [*([True] if turn else []), *([False] if straight or not turn else [])]
    return [
        _pack(order, whole, own, turn=turned, wide_rest=wide_rest)
        for order in _orders(grown)
        for turned in turns
        for wide_rest in (True, False)
    ]


def _pack(
    order: Sequence[Size], whole: Size, own: Sequence[Size], *, turn: bool, wide_rest: bool
) -> list[list[Size]]:
    """The free rectangles of every body after placing all in turn, the user's own first."""
    sheets: list[list[Size]] = [[body] for body in own]
    for rect in order:
        if not any(_place(sheet, rect, turn=turn, wide_rest=wide_rest) for sheet in sheets):
            sheets.append([whole])
            if not _place(sheets[-1], rect, turn=turn, wide_rest=wide_rest):
                raise InputError("a rectangle is larger than the sheet: give a larger one")
    return sheets


def _place(gaps: list[Size], rect: Size, *, turn: bool, wide_rest: bool) -> bool:
    """Cut the rectangle from the gap it fits closest in; the gap splits by one straight cut.

    `wide_rest`: the larger rest stays whole, else the smaller one does.
    """
    turned = [rect, (rect[1], rect[0])] if turn else [rect]
    fits = [
        (min(gap[0] - long, gap[1] - wide), place, (long, wide))
        for place, gap in enumerate(gaps)
        for long, wide in turned
        if long <= gap[0] and wide <= gap[1]
    ]
    if not fits:
        return False
    _, place, (long, wide) = min(fits)
    gap = gaps.pop(place)
    right, below = gap[0] - long, gap[1] - wide
    upright = [(right, gap[1]), (long, below)]
    across = [(right, wide), (gap[0], below)]
    parts = upright if (right >= below) is wide_rest else across
    gaps.extend(part for part in parts if part[0] > 0 and part[1] > 0)
    return True
