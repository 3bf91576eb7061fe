"""Robust centre and scale: what a price usually is, and how far off a reading stands."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

MAD_TO_SIGMA = 1.4826  # 1 / (sqrt(2) erfinv(1/2)): MAD of a normal sample to its sigma
MODIFIED_Z = 0.6745  # Iglewicz and Hoaglin 1993; NIST/SEMATECH e-Handbook 1.3.5.17
SUSPICIOUS = 3.5  # the same sources: a modified z-score above this is a possible outlier


def weighted_median(values: Sequence[float], weights: Sequence[float]) -> float:
    """Smallest value that at least half of the weight does not exceed.

    Values of no weight count only where nothing has any. ValueError: no values.
    """
    if not values:
        raise ValueError("no values to take a median of")
    total = math.fsum(weights)
    if total <= 0:
        ordered = sorted(values)
        return ordered[(len(ordered) - 1) // 2]
    return _reach_half(sorted(zip(values, weights, strict=True)), total / 2)


def _reach_half(pairs: list[tuple[float, float]], half: float) -> float:
    seen = 0.0
    for value, weight in pairs:
        seen += weight
        if weight > 0 and seen >= half:
            return value
    return pairs[-1][0]


def median(values: Sequence[float]) -> float:
    """Plain median; the mean of the two middle values where their number is even."""
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2


def mad(values: Sequence[float]) -> float:
    """Median absolute deviation from the median, not scaled."""
    centre = median(values)
    return median([abs(value - centre) for value in values])


def modified_z(values: Sequence[float]) -> list[float]:
    """0.6745 (x - median) / MAD (Iglewicz and Hoaglin 1993); infinite where the MAD is 0."""
    centre, spread = median(values), mad(values)
    if spread:
        return [MODIFIED_Z * (value - centre) / spread for value in values]
    return [0.0 if value == centre else math.copysign(math.inf, value - centre) for value in values]


def hampel_limits(values: Sequence[float], k: float = 3.0) -> tuple[float, float]:
    """Hampel identifier: median -+ k x 1.4826 MAD."""
    centre, spread = median(values), k * MAD_TO_SIGMA * mad(values)
    return centre - spread, centre + spread


def floored_scale(values: Sequence[float], weights: Sequence[float], floor: float) -> float:
    """1.4826 x weighted MAD, never below `floor`: prices are flat for weeks, and then MAD is 0."""
    centre = weighted_median(values, weights)
    spread = weighted_median([abs(value - centre) for value in values], weights)
    return max(MAD_TO_SIGMA * spread, floor)
