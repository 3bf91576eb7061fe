"""Cutting patterns and the programme that chooses among them. Only here the solver is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil, floor
from typing import Any

from service.builds.solver import new_solver

MOST_PATTERNS = 4_000  # above, patterns come from column generation
MOST_STEPS = 50_000  # of a bar, in the knapsack
ROUNDS = 300
TIME_LIMIT = 5.0  # seconds, of the integer programme
TINY = 1e-9
Pattern = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Stick:
    """A kind of bar: its length with one kerf, what one costs, how many there are."""

    length: Decimal
    cost: int
    count: int | None


@dataclass(frozen=True, slots=True)
class Found:
    """`used`: (kind of stick, pattern, how often). `least`: no cutting costs less."""

    used: tuple[tuple[int, Pattern, int], ...]
    least: int


def cheapest_cutting(
    sizes: Sequence[Decimal], wanted: Sequence[int], sticks: Sequence[Stick]
) -> Found:
    """Cut `wanted` pieces of each of `sizes` (longest first) from the sticks at least cost."""
    if not sizes:
        return Found((), 0)
    columns: list[tuple[int, Pattern]] = []
    complete = True
    for kind, stick in enumerate(sticks):
        patterns = maximal_patterns(sizes, wanted, stick.length)
        complete = complete and patterns is not None
        columns += [(kind, p) for p in _begin(patterns, sizes, wanted, stick.length)]
    bound = 0.0 if complete else _generate(columns, sizes, wanted, sticks)
    counts, value, dual = _solve(columns, wanted, sticks)
    least = ceil((dual if complete else bound) - 1e-6)
    used = [
        (kind, pattern, round(n))
        for (kind, pattern), n in zip(columns, counts, strict=True)
        if round(n) > 0
    ]
    return Found(_trimmed(used, wanted), min(least, round(value)))


def maximal_patterns(
    sizes: Sequence[Decimal], wanted: Sequence[int], length: Decimal
) -> list[Pattern] | None:
    """Every pattern that no further piece fits in; None where there are too many."""
    found: list[Pattern] = []
    stack: list[tuple[Pattern, Decimal]] = [((), length)]
    while stack:
        head, left = stack.pop()
        place = len(head)
        if place == len(sizes):
            if _is_maximal(head, left, sizes, wanted):
                found.append(head)
            continue
        most = min(wanted[place], floor(left / sizes[place]))
        stack.extend(((*head, n), left - n * sizes[place]) for n in range(most + 1))
        if len(found) > MOST_PATTERNS or len(stack) > 50 * MOST_PATTERNS:
            return None
    return [pattern for pattern in found if any(pattern)]


def _is_maximal(
    pattern: Pattern, left: Decimal, sizes: Sequence[Decimal], wanted: Sequence[int]
) -> bool:
    return all(
        size > left or n >= most for size, n, most in zip(sizes, pattern, wanted, strict=True)
    )


def _begin(
    patterns: list[Pattern] | None,
    sizes: Sequence[Decimal],
    wanted: Sequence[int],
    length: Decimal,
) -> list[Pattern]:
    return _starters(sizes, wanted, length) if patterns is None else patterns


def _starters(sizes: Sequence[Decimal], wanted: Sequence[int], length: Decimal) -> list[Pattern]:
    """One pattern for each size, enough to begin column generation with."""
    found = []
    for place, size in enumerate(sizes):
        most = min(wanted[place], floor(length / size))
        if most:
            found.append(tuple(most if i == place else 0 for i in range(len(sizes))))
    return found


def _generate(
    columns: list[tuple[int, Pattern]],
    sizes: Sequence[Decimal],
    wanted: Sequence[int],
    sticks: Sequence[Stick],
) -> float:
    """Add patterns while one can lower the linear programme; answers its value."""
    value, (steps, lengths) = 0.0, in_steps(sizes, sticks)
    for _ in range(ROUNDS):
        value, prices = _solve_linear(columns, wanted, sticks)
        new = []
        for kind, stick in enumerate(sticks):
            worth, pattern = best_pattern(steps, wanted, prices, lengths[kind])
            room = prices[len(wanted) + kind] if stick.count is not None else 0.0
            if worth + room > stick.cost + 1e-7 and (kind, pattern) not in columns:
                new.append((kind, pattern))
        if not new:
            return value
        columns += new
    return 0.0  # not solved to the end: no bound is claimed


def best_pattern(
    sizes: Sequence[int], wanted: Sequence[int], prices: Sequence[float], length: int
) -> tuple[float, Pattern]:
    """The pattern worth most at the pieces' prices.

    A bounded knapsack by dynamic programming: counts are split in powers of two, so
    that each step takes a bundle or leaves it.
    """
    import numpy as np  # noqa: PLC0415  # only long cut lists come here

    best = np.zeros(length + 1)
    bundles = [
        (place, n)
        for place, size in enumerate(sizes)
        if prices[place] > TINY
        for n in _powers(min(wanted[place], length // size))
    ]
    taken = np.zeros((len(bundles), length + 1), dtype=bool)
    for row, (place, n) in enumerate(bundles):
        weight = n * sizes[place]
        tried = best[: length + 1 - weight] + n * prices[place]
        taken[row, weight:] = tried > best[weight:] + TINY
        best[weight:] = np.where(taken[row, weight:], tried, best[weight:])
    counts, left = [0] * len(sizes), length
    for row in range(len(bundles) - 1, -1, -1):
        if taken[row, left]:
            place, n = bundles[row]
            counts[place] += n
            left -= n * sizes[place]
    return float(best[length]), tuple(counts)


def _powers(count: int) -> list[int]:
    """1, 2, 4, ... and the rest: together every number up to `count`."""
    found, step = [], 1
    while count > 0:
        found.append(min(step, count))
        count -= found[-1]
        step *= 2
    return found


def in_steps(sizes: Sequence[Decimal], sticks: Sequence[Stick]) -> tuple[list[int], list[int]]:
    """Lengths as whole steps of the finest decimal, coarser where that makes too many.

    Then pieces grow and bars shrink to the step, so that what fits still fits.
    """
    lengths = [*sizes, *(stick.length for stick in sticks)]
    digits = max(max(0, -int(x.as_tuple().exponent)) for x in lengths)
    step = Decimal(1).scaleb(-digits)
    while max(lengths) / step > MOST_STEPS:
        step *= 10
    return [ceil(x / step) for x in sizes], [floor(stick.length / step) for stick in sticks]


def _programme(
    columns: Sequence[tuple[int, Pattern]], wanted: Sequence[int], sticks: Sequence[Stick]
) -> Any:
    """Rows: every size wanted, then every kind of stick that is limited in number."""
    import highspy  # noqa: PLC0415  # 0.1 s, only where something is cut

    solver = new_solver(TIME_LIMIT)
    free = highspy.kHighsInf
    for count in wanted:
        solver.addRow(float(count), free, 0, [], [])
    for stick in sticks:
        solver.addRow(-free, free if stick.count is None else float(stick.count), 0, [], [])
    for kind, pattern in columns:
        places = [i for i, n in enumerate(pattern) if n]
        values = [float(pattern[i]) for i in places]
        rows = [*places, len(wanted) + kind]
        solver.addCol(float(sticks[kind].cost), 0.0, free, len(rows), rows, [*values, 1.0])
    return solver


def _solve_linear(
    columns: Sequence[tuple[int, Pattern]], wanted: Sequence[int], sticks: Sequence[Stick]
) -> tuple[float, list[float]]:
    solver = _programme(columns, wanted, sticks)
    solver.run()
    value = solver.getInfo().objective_function_value
    return value, list(solver.getSolution().row_dual)


def _solve(
    columns: Sequence[tuple[int, Pattern]], wanted: Sequence[int], sticks: Sequence[Stick]
) -> tuple[list[float], float, float]:
    """Counts of every pattern, their cost, and the solver's lower bound."""
    import highspy  # noqa: PLC0415  # as above

    solver = _programme(columns, wanted, sticks)
    for place in range(len(columns)):
        solver.changeColIntegrality(place, highspy.HighsVarType.kInteger)
    solver.run()
    info = solver.getInfo()
    return list(solver.getSolution().col_value), info.objective_function_value, info.mip_dual_bound


def _trimmed(
    used: Sequence[tuple[int, Pattern, int]], wanted: Sequence[int]
) -> tuple[tuple[int, Pattern, int], ...]:
    """Without the pieces that nobody wants: patterns may cut more than is asked for."""
    over = [sum(p[i] * n for _, p, n in used) - wanted[i] for i in range(len(wanted))]
    rows: dict[tuple[int, Pattern], int] = {}
    for kind, pattern, count in used:
        for _ in range(count):
            kept = []
            for place, n in enumerate(pattern):
                drop = min(n, max(over[place], 0))
                over[place] -= drop
                kept.append(n - drop)
            rows[kind, tuple(kept)] = rows.get((kind, tuple(kept)), 0) + 1
    return tuple((kind, pattern, n) for (kind, pattern), n in rows.items() if any(pattern))
