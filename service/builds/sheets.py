"""How many sheets a list of rectangles takes, and what is left of them: an estimate.

Guillotine heuristics, in which every cut goes straight through (J. Jylanki, A Thousand Ways
to Pack the Bin, 2010): each rectangle goes into the gap that it fits closest, the gap splits
by one cut, and of many orders and rules the best packing counts. It never promises too
little. Lengths are whole steps of the finest decimal, so that nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from itertools import product
from typing import Literal

from service.errors import InputError

MOST_PIECES = 10_000
FEW = 150  # up to so many pieces every rule is tried: under a second
Size = tuple[int, int]
Gaps = list[Size]  # free rectangles of one body
Measure = Literal["short", "long", "area"]
Rule = Literal["rest", "axis", "area"]


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


class TooLargeError(InputError):
    """A rectangle fits neither in a sheet nor in what the user has."""


def cut_sheets(
    rects: Sequence[Rect],
    size: tuple[Decimal, Decimal],
    *,
    kerf: Decimal = Decimal(0),
    turn: bool = True,
    own: Sequence[tuple[Decimal, Decimal]] = (),
) -> Sheets:
    """How many sheets of `size` mm the rectangles take. `turn`: the grain allows it.

    `own` bodies are used first, in the order given. TooLargeError: a rectangle fits in none.
    InputError: there are too many.
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
    if sum(rect.count for rect in rects) > MOST_PIECES:
        raise InputError(f"more than {MOST_PIECES} pieces in one cut list: divide it")
    edges = [edge for pair in (size, *own, *((r.long, r.wide) for r in rects)) for edge in pair]
    digits = max(max(0, -int(x.as_tuple().exponent)) for x in (kerf, *edges))
    scale = 10**digits

    def grown(pair: tuple[Decimal, Decimal]) -> Size:
        return int((pair[0] + kerf) * scale), int((pair[1] + kerf) * scale)

    whole, *bodies = (grown(pair) for pair in (size, *own))
    pieces = [grown((r.long, r.wide)) for r in rects for _ in range(r.count)]
    area = sum(a * b for a, b in pieces) - sum(a * b for a, b in bodies)
    least = max(0, -(-area // (whole[0] * whole[1])))
    free = _best(pieces, whole, bodies, turn=turn)
    used = tuple(k for k, body in enumerate(bodies) if free[k] != [body])
    gaps = [gap for gaps in [*(free[k] for k in used), *free[len(bodies) :]] for gap in gaps]
    rests = [Rect(Decimal(a) / scale - kerf, Decimal(b) / scale - kerf) for a, b in gaps]
    bought = len(free) - len(bodies)
    offcuts = tuple(rest for rest in rests if rest.long > 0 and rest.wide > 0)
    return Sheets(bought, min(bought, least), offcuts, used)


def _best(pieces: Sequence[Size], whole: Size, own: Sequence[Size], *, turn: bool) -> list[Gaps]:
    """The packing with the fewest bodies, of equal ones that with the largest rest."""
    found: list[Gaps] = []
    for packed in _packings(pieces, whole, own, turn=turn):
        if not found or _rank(packed) < _rank(found):
            found = packed
    if not found:
        raise TooLargeError("a rectangle is larger than the sheet: give a larger one")
    return found


def _rank(bodies: Sequence[Gaps]) -> tuple[int, int]:
    return len(bodies), -max((a * b for gaps in bodies for a, b in gaps), default=0)


def _packings(
    pieces: Sequence[Size], whole: Size, own: Sequence[Size], *, turn: bool
) -> Iterator[list[Gaps]]:
    """In several orders, turning as it fits or never, by every rule where there are few."""
    straight = all(long <= whole[0] and wide <= whole[1] for long, wide in pieces)
    turns = [*([True] if turn else []), *([False] if straight or not turn else [])]
    few = len(pieces) <= FEW
    measures: tuple[Measure, ...] = ("short", "long", "area") if few else ("short",)
    rules: tuple[Rule, ...] = ("rest", "axis", "area") if few else ("rest",)
    anywhere = (False, True) if few else (False,)
    for order in _orders(pieces):
        for way in product(turns, (True, False), rules, measures, anywhere):
            packed = _pack(order, whole, own, _Way(*way))
            if packed:
                yield packed


def _orders(pieces: Sequence[Size]) -> list[list[Size]]:
    """By area, long edge, short edge, height and outline, the largest first."""
    return [
        sorted(pieces, key=lambda s: (s[0] * s[1], max(s)), reverse=True),
        sorted(pieces, key=lambda s: (max(s), min(s)), reverse=True),
        sorted(pieces, key=lambda s: (min(s), max(s)), reverse=True),
        sorted(pieces, key=lambda s: (s[1], s[0]), reverse=True),
        sorted(pieces, key=lambda s: (s[0] + s[1], max(s)), reverse=True),
    ]


@dataclass(frozen=True, slots=True)
class _Way:
    """How gaps are chosen and split.

    `turn`: pieces may turn; `upright`, `rule`: which of the two cuts goes through, by what is
    left beside, by the gap's longer edge, or by the areas that come of it; `measure`: what of
    a gap should be left least; `anywhere`: the closest gap of all bodies, else that of the
    first body with any.
    """

    turn: bool
    upright: bool
    rule: Rule
    measure: Measure
    anywhere: bool


Fit = tuple[int, int, int, Size]  # how much is left, body, gap, the piece as it lies


def _pack(order: Sequence[Size], whole: Size, own: Sequence[Size], way: _Way) -> list[Gaps]:
    """The gaps of every body after placing all pieces in turn, the user's own bodies first.

    Empty where a piece finds no room, in a new sheet neither.
    """
    bodies: list[Gaps] = [[body] for body in own]
    for piece in order:
        fit = _find(bodies, piece, way)
        if fit is None:
            bodies.append([whole])
            fit = _find(bodies, piece, way)
        if fit is None:
            return []
        _split(bodies[fit[1]], fit[2], fit[3], way)
    return bodies


def _find(bodies: Sequence[Gaps], piece: Size, way: _Way) -> Fit | None:
    lies = [piece, (piece[1], piece[0])] if way.turn else [piece]
    best: Fit | None = None
    for number, gaps in enumerate(bodies):
        for place, gap in enumerate(gaps):
            for long, wide in lies:
                if long <= gap[0] and wide <= gap[1]:
                    fit = (_left(gap, long, wide, way.measure), number, place, (long, wide))
                    best = fit if best is None or fit < best else best
        if best is not None and not way.anywhere:
            return best
    return best


def _left(gap: Size, long: int, wide: int, measure: Measure) -> int:
    if measure == "area":
        return gap[0] * gap[1] - long * wide
    rests = (gap[0] - long, gap[1] - wide)
    return min(rests) if measure == "short" else max(rests)


def _split(gaps: Gaps, place: int, piece: Size, way: _Way) -> None:
    """Take the piece out of the gap by one straight cut, and another one across it."""
    gap, (long, wide) = gaps.pop(place), piece
    right, below = gap[0] - long, gap[1] - wide
    through = {
        "rest": right >= below,
        "axis": gap[0] >= gap[1],
        "area": right * gap[1] >= below * gap[0],
    }[way.rule]
    upright = [(right, gap[1]), (long, below)]
    across = [(right, wide), (gap[0], below)]
    parts = upright if through is way.upright else across
    gaps.extend(part for part in parts if part[0] > 0 and part[1] > 0)
