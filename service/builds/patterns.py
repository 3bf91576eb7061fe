"""Cutting patterns and the programme that chooses among them. Only here the solver is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil, floor
from typing import Any

from service.builds.fillings import (
    Column,
    Pattern,
    Row,
    Stick,
    best_pattern,
    fill_in_turn,
    in_steps,
)
from service.builds.solver import new_solver

MOST_PATTERNS = 4_000  # above, patterns come from column generation
ROUNDS = 300
TIME_LIMIT = 5.0  # seconds, of the integer programme


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
    columns: list[Column] = []
    complete = True
    for kind, stick in enumerate(sticks):
        patterns = maximal_patterns(sizes, wanted, stick.length)
        complete = complete and patterns is not None
        columns += [(kind, p) for p in _begin(patterns, sizes, wanted, stick.length)]
    if complete:
        counts, value, dual = _solve(columns, wanted, sticks)
        return Found(_used(columns, counts, wanted), min(ceil(dual - 1e-6), round(value)))
    return _from_generated(columns, sizes, wanted, sticks)


def _from_generated(
    columns: list[Column], sizes: Sequence[Decimal], wanted: Sequence[int], sticks: Sequence[Stick]
) -> Found:
    """Too many patterns to try all: generated ones, and those of bars filled one by one.

    The solver is asked where no filling meets the linear bound; the better answer counts.
    """
    bound, prices = _generate(columns, sizes, wanted, sticks)
    least = ceil(bound - 1e-6)
    fillings = fill_in_turn(sizes, wanted, sticks, prices)
    best = min(fillings, key=lambda rows: _cost(rows, sticks), default=None)
    if best is not None and _cost(best, sticks) <= least:
        return Found(_trimmed(best, wanted), least)
    columns += {(kind, pattern) for rows in fillings for kind, pattern, _ in rows} - {*columns}
    counts, value, _ = _solve(columns, wanted, sticks)
    if counts and (best is None or round(value) < _cost(best, sticks)):
        return Found(_used(columns, counts, wanted), min(least, round(value)))
    return Found(_trimmed(best or (), wanted), least)


def _cost(rows: Sequence[Row], sticks: Sequence[Stick]) -> int:
    return sum(sticks[kind].cost * count for kind, _, count in rows)


def _used(
    columns: Sequence[Column], counts: Sequence[float], wanted: Sequence[int]
) -> tuple[Row, ...]:
    rows = [(k, p, round(n)) for (k, p), n in zip(columns, counts, strict=True) if round(n) > 0]
    return _trimmed(rows, wanted)


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
    columns: list[Column],
    sizes: Sequence[Decimal],
    wanted: Sequence[int],
    sticks: Sequence[Stick],
) -> tuple[float, list[float]]:
    """Add patterns while one can lower the linear programme; answers its value and prices."""
    steps, lengths = in_steps(sizes, sticks)
    prices: list[float] = []
    for _ in range(ROUNDS):
        value, prices = _solve_linear(columns, wanted, sticks)
        new = []
        for kind, stick in enumerate(sticks):
            worth, pattern = best_pattern(steps, wanted, prices, lengths[kind])
            room = prices[len(wanted) + kind] if stick.count is not None else 0.0
            if worth + room > stick.cost + 1e-7 and (kind, pattern) not in columns:
                new.append((kind, pattern))
        if not new:
            return value, prices
        columns += new
    return 0.0, prices  # not solved to the end: no bound is claimed


def _programme(columns: Sequence[Column], wanted: Sequence[int], sticks: Sequence[Stick]) -> Any:
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
    columns: Sequence[Column], wanted: Sequence[int], sticks: Sequence[Stick]
) -> tuple[float, list[float]]:
    solver = _programme(columns, wanted, sticks)
    solver.run()
    value = solver.getInfo().objective_function_value
    return value, list(solver.getSolution().row_dual)


def _solve(
    columns: Sequence[Column], wanted: Sequence[int], sticks: Sequence[Stick]
) -> tuple[list[float], float, float]:
    """Counts of every pattern, their cost, and the solver's lower bound."""
    import highspy  # noqa: PLC0415  # as above

    solver = _programme(columns, wanted, sticks)
    for place in range(len(columns)):
        solver.changeColIntegrality(place, highspy.HighsVarType.kInteger)
    solver.run()
    info = solver.getInfo()
    return list(solver.getSolution().col_value), info.objective_function_value, info.mip_dual_bound


def _trimmed(used: Sequence[Row], wanted: Sequence[int]) -> tuple[Row, ...]:
    """Without the pieces that nobody wants: patterns may cut more than is asked for."""
    over = [sum(p[i] * n for _, p, n in used) - wanted[i] for i in range(len(wanted))]
    rows: dict[Column, int] = {}
    for kind, pattern, count in used:
        for _ in range(count):
            kept = []
            for place, n in enumerate(pattern):
                drop = min(n, max(over[place], 0))
                over[place] -= drop
                kept.append(n - drop)
            rows[kind, tuple(kept)] = rows.get((kind, tuple(kept)), 0) + 1
    return tuple((kind, pattern, n) for (kind, pattern), n in rows.items() if any(pattern))
