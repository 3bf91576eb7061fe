"""Bars filled one by one with what is worth most: good cuttings, fast, without a proof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil, floor

MOST_STEPS = 50_000  # of a bar, in the knapsack
TINY = 1e-9
Pattern = tuple[int, ...]
Column = tuple[int, Pattern]  # kind of stick, and how it is cut
Row = tuple[int, Pattern, int]  # and how often


@dataclass(frozen=True, slots=True)
class Stick:
    """A kind of bar: its length with one kerf, what one costs, how many there are."""

    length: Decimal
    cost: int
    count: int | None


def fill_in_turn(
    sizes: Sequence[Decimal],
    wanted: Sequence[int],
    sticks: Sequence[Stick],
    prices: Sequence[float],
) -> list[list[Row]]:
    """Whole cuttings, a stick after the other, each filled with what is worth most.

    Worth: the length, so that little is left of each; the length with long pieces favoured;
    what the linear programme pays. The user's own sticks go first, short ones before long.
    """
    steps, lengths = in_steps(sizes, sticks)
    longest = max(lengths)
    worths = [
        [float(step) for step in steps],
        [step * (1 + step / longest) for step in steps],
        [max(price, 0.0) for price in prices[: len(steps)]],
    ]
    order = sorted(range(len(sticks)), key=lambda k: (sticks[k].count is None, lengths[k]))
    found = [_filled(steps, wanted, sticks, lengths, order, worth) for worth in worths]
    return [rows for rows in found if rows is not None]


def _filled(
    steps: Sequence[int],
    wanted: Sequence[int],
    sticks: Sequence[Stick],
    lengths: Sequence[int],
    order: Sequence[int],
    worth: Sequence[float],
) -> list[Row] | None:
    """None: what is left fits in no stick, or is worth nothing."""
    left, rows = list(wanted), list[Row]()
    for kind in order:
        free = sticks[kind].count
        while any(left) and free != 0:
            _, pattern = best_pattern(steps, left, worth, lengths[kind])
            if not any(pattern):
                break
            times = min(n // used for n, used in zip(left, pattern, strict=True) if used)
            times = times if free is None else min(times, free)
            rows.append((kind, pattern, times))
            left = [n - used * times for n, used in zip(left, pattern, strict=True)]
            free = None if free is None else free - times
    return None if any(left) else rows


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
