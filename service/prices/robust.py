"""Robust centre and scale: what a price usually is, and how far off a reading stands."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

MAD_TO_SIGMA = 1.4826  # 1 / (sqrt(2) erfinv(1/2)): MAD of a normal sample to its sigma
SUSPICIOUS = 3.5  # Iglewicz and Hoaglin 1993; NIST/SEMATECH e-Handbook 1.3.5.17


def weighted_median(values: Sequence[float], weights: Sequence[float]) -> float:
    """The value that half of the weight lies below; the mean of two where the halves meet.

    Values of no weight count only where nothing has any. ValueError: no values.
    """
    if not values:
        raise ValueError("no values to take a median of")
    total = math.fsum(weights)
    if total <= 0:
        return weighted_median(values, [1.0] * len(values))
    pairs = sorted((v, w) for v, w in zip(values, weights, strict=True) if w > 0)
    reached = 0.0
    for position, (value, weight) in enumerate(pairs):
        reached += weight
        if math.isclose(2 * reached, total, rel_tol=1e-12):
            return (value + pairs[position + 1][0]) / 2
        if 2 * reached > total:
            return value
    return pairs[-1][0]


def robust_scale(values: Sequence[float], weights: Sequence[float], floor: float = 0.0) -> float:
    """1.4826 x MAD, never below `floor`: prices are flat for weeks, and then the MAD is 0."""
    centre = weighted_median(values, weights)
    spread = weighted_median([abs(value - centre) for value in values], weights)
    return max(MAD_TO_SIGMA * spread, floor)


def robust_score(distance: float, scale: float) -> float:
    """Distance in robust scales: the modified z-score where it is taken from the median.

    0.6745 d / MAD = d / (1.4826 MAD) (Iglewicz and Hoaglin 1993); infinite off a scale of 0.
    """
    if scale:
        return distance / scale
    return math.copysign(math.inf, distance) if distance else 0.0
