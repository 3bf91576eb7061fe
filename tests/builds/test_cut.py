"""Cutting stock: textbook instances with known optimum, brute force for small ones."""

from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds.cut import Cutting, Piece, cut_bars
from service.builds.sheets import Rect, cut_sheets
from service.errors import InputError

D = Decimal


def pieces(*rows: tuple[object, int]) -> list[Piece]:
    return [Piece(D(str(length)), count) for length, count in rows]


# (bar, pieces, fewest bars)
TEXTBOOK = [
    # V. Chvatal, Linear Programming (1983), chapter 13: raws of 100 inches; the linear
    # programme gives 452.25
    (100, [(45, 97), (36, 610), (31, 395), (14, 211)], 453),
    # the standard example of the trade literature: rolls of 5600 mm, 13 widths, 219 pieces
    (
        5600,
        [
            (1380, 22),
            (1520, 25),
            (1560, 12),
            (1710, 14),
            (1820, 18),
            (1880, 18),
            (1930, 20),
            (2000, 10),
            (2050, 12),
            (2100, 14),
            (2140, 16),
            (2150, 18),
            (2200, 20),
        ],
        73,
    ),
    # J. Valerio de Carvalho, Annals of Operations Research 86 (1999): rolls of 8, pieces of
    # 4, 3 and 2, from memory: 5 x 4 + 4 x 3 + 8 x 2 = 48 = 6 x 8
    (8, [(4, 5), (3, 4), (2, 8)], 6),
    # first-fit decreasing needs 3 where 2 are enough (D. S. Johnson 1973, the classic kind)
    (10, [(5, 1), (4, 1), (3, 2), (2, 2), (1, 1)], 2),
]


@pytest.mark.parametrize(("bar", "rows", "fewest"), TEXTBOOK)
def test_textbook_optimum(bar: int, rows: list[tuple[int, int]], fewest: int) -> None:
    found = cut_bars(pieces(*rows), D(bar))
    assert found.bars == fewest
    assert found.proved
    check(found, rows, 0)


def check(found: Cutting, rows: list[tuple[int, int]], kerf: int) -> None:
    """Every piece is cut exactly once per piece wanted, and every bar holds its pieces."""
    made: dict[Decimal, int] = {}
    for entry in found.layout:
        for piece in entry.pieces:
            made[piece] = made.get(piece, 0) + entry.count
        need = sum(entry.pieces) + kerf * max(len(entry.pieces) - 1, 0)
        assert need <= entry.length
    wanted: dict[Decimal, int] = {}
    for length, count in rows:
        wanted[D(length)] = wanted.get(D(length), 0) + count
    assert made == wanted


def fewest_by_force(lengths: list[int], bar: int, kerf: int) -> int:
    best = len(lengths)
    for order in set(permutations(sorted(lengths))):
        bars, left = 0, -1
        for length in order:
            if left < length:
                bars, left = bars + 1, bar
            left -= length + kerf
        best = min(best, bars)
    return best


@given(
    st.lists(st.integers(5, 60), min_size=1, max_size=6), st.integers(60, 100), st.integers(0, 4)
)
@settings(max_examples=60, deadline=None)
def test_small_lists_against_brute_force(lengths: list[int], bar: int, kerf: int) -> None:
    rows = [(length, 1) for length in lengths]
    found = cut_bars(pieces(*rows), D(bar), kerf=D(kerf))
    assert found.bars == fewest_by_force(lengths, bar, kerf)
    assert found.proved
    check(found, rows, kerf)


def test_kerf_is_lost_between_pieces_but_not_behind_the_last() -> None:
    # common practice: four pieces of 249 mm with three cuts of 1 mm come from 1000 mm
    assert cut_bars(pieces((249, 4)), D(1000), kerf=D(1)).bars == 1
    assert cut_bars(pieces((250, 4)), D(1000), kerf=D(1)).bars == 2
    assert cut_bars(pieces((250, 4)), D(1000)).bars == 1


def test_offcuts_of_ones_own_are_used_first() -> None:
    found = cut_bars(pieces((400, 3)), D(1000), own=pieces((450, 2)))
    assert found.bars == 1
    assert sum(bar.count for bar in found.layout if not bar.bought) in {1, 2}
    assert cut_bars(pieces((400, 2)), D(1000), own=pieces((450, 2))).bars == 0


def test_what_is_left_is_told_by_size() -> None:
    found = cut_bars(pieces((300, 4)), D(1000), kerf=D(2))
    assert found.bars == 2
    assert sorted(p.length for p in found.left for _ in range(p.count)) == [D(94), D(698)]


def test_many_sizes_come_from_generated_patterns() -> None:
    rows = [(100 + 37 * k, 3 + k % 5) for k in range(30)]
    found = cut_bars(pieces(*rows), D(6000), kerf=D(2))
    check(found, rows, 2)
    assert found.bars - found.least <= 1
    area = sum((length + 2) * count for length, count in rows)
    assert found.least >= area / 6002


def test_a_piece_longer_than_the_bar_is_an_error() -> None:
    with pytest.raises(InputError, match="1200 mm cannot be cut from 1000 mm"):
        cut_bars(pieces((1200, 1)), D(1000))


def rect(long: int, wide: int, count: int = 1) -> Rect:
    return Rect(D(long), D(wide), count)


# common practice: what a sheet divides into by straight cuts
@pytest.mark.parametrize(
    ("rects", "size", "sheets"),
    [
        ([rect(300, 200, 6)], (900, 400), 1),
        ([rect(200, 200, 2)], (300, 300), 2),
        ([rect(600, 300)], (300, 600), 1),
        ([rect(500, 500), rect(500, 250, 2)], (1000, 500), 1),
        ([rect(100, 100, 9)], (300, 300), 1),
        ([rect(700, 100), rect(300, 200), rect(400, 200)], (700, 300), 1),
    ],
)
def test_sheets(rects: list[Rect], size: tuple[int, int], sheets: int) -> None:
    found = cut_sheets(rects, (D(size[0]), D(size[1])))
    assert found.sheets == sheets
    assert found.least <= sheets


def test_grain_and_kerf_cost_sheets() -> None:
    size = (D(600), D(300))
    assert cut_sheets([rect(300, 600)], size).sheets == 1
    with pytest.raises(InputError):
        cut_sheets([rect(300, 600)], size, turn=False)
    assert cut_sheets([rect(300, 150, 4)], size).sheets == 1
    assert cut_sheets([rect(300, 150, 4)], size, kerf=D(1)).sheets > 1


@given(
    st.lists(st.tuples(st.integers(10, 300), st.integers(10, 200)), min_size=1, max_size=12),
    st.integers(0, 3),
)
@settings(max_examples=60, deadline=None)
def test_an_estimate_never_promises_too_little(sizes: list[tuple[int, int]], kerf: int) -> None:
    found = cut_sheets([rect(*s) for s in sizes], (D(300), D(200)), kerf=D(kerf))
    area = sum(a * b for a, b in sizes) / (300 * 200)
    assert area <= found.sheets <= len(sizes)
    left = sum(r.long * r.wide for r in found.offcuts)
    assert float(left) + sum(a * b for a, b in sizes) <= found.sheets * 300 * 200 + 1e-6


def test_the_solver_writes_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    assert cut_bars(pieces((301, 4)), D(1001)).bars == 2
    assert capfd.readouterr().out == ""


# 25 sizes from 97 to 409 mm, seven of each: 44.275 m, and 2 mm of the saw for each of the 175
# pieces; the length alone asks for ceil(44625 / (bar + 2)) bars, and so many are enough
@pytest.mark.parametrize(("bar", "fewest"), [(1000, 45), (2000, 23), (5000, 9)])
def test_long_lists_come_near_what_the_length_alone_asks_for(bar: int, fewest: int) -> None:
    rows = [(97 + 13 * k, 7) for k in range(25)]
    assert -(-(sum(size * count for size, count in rows) + 2 * 175) // (bar + 2)) == fewest
    found = cut_bars(pieces(*rows), D(bar), kerf=D(2))
    assert (found.bars, found.proved) == (fewest, True)
    check(found, rows, 2)


def test_own_bars_are_filled_before_any_is_bought_in_long_lists() -> None:
    rows = [(97 + 13 * k, 7) for k in range(25)]
    own = [Piece(D(900), 3), Piece(D(450), 2)]
    found = cut_bars(pieces(*rows), D(5000), kerf=D(2), own=own)
    check(found, rows, 2)
    # 44.625 m less what the own bars hold at most (3 x 902 and 2 x 452) still take 9 of 5.002 m
    assert -(-(44625 - 3 * 902 - 2 * 452) // 5002) == 9
    assert found.bars == 9


def test_sheets_of_a_workshop_by_hand() -> None:
    """Laid out by hand on 300 x 600 mm with a saw of 2 mm: fewest sheets that can be."""
    # two of 149 across, four of 148.5 along (4 x 148.5 + 3 x 2 = 600): eight from one sheet
    assert cut_sheets([Rect(D(149), D("148.5"), 8)], (D(300), D(600)), kerf=D(2)).sheets == 1
    assert cut_sheets([Rect(D(149), D("148.5"), 9)], (D(300), D(600)), kerf=D(2)).sheets == 2
    # 200 x 600 and the strip of 98 beside it in three: 98 x 200, 98 x 200, 98 x 196
    rects = [Rect(D(200), D(600)), Rect(D(98), D(200), 2), Rect(D(98), D(196))]
    assert cut_sheets(rects, (D(300), D(600)), kerf=D(2), turn=False).sheets == 1
