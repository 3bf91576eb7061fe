"""How many bars a cut list takes, and what is left of them.

The one-dimensional cutting-stock problem (Gilmore and Gomory, Operations Research
9, 1961). A pattern is what one bar is cut into; with all maximal patterns at hand the
integer programme is exact, else patterns come from column generation and the linear
bound says how good the answer is. A cut takes `kerf`: pieces and bar grow by one kerf
each, so that the last piece needs no cut where it ends with the bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from service.builds.fillings import Stick
from service.builds.patterns import cheapest_cutting
from service.errors import InputError

MOST_PIECES = 10_000


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
