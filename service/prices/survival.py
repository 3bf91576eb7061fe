"""How long one waits: the product-limit curve of Kaplan and Meier (1958) with its interval."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Z95 = 1.959963984540054  # two-sided 95 % of the normal distribution
ALPHA = 0.05


@dataclass(frozen=True, slots=True)
class Curve:
    """S(t) as steps. `times` rising, distinct, those with an event; counts beside them.

    `waits`: the length of every wait, censored ones too, rising.
    """

    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    events: tuple[int, ...]
    waits: tuple[float, ...]

    def survival(self, t: float, given: float = -math.inf) -> float:
        """P(longer than `t`), for those who have waited `given` without an event."""
        steps = self._steps(given, t)
        return math.prod(1 - d / n for n, d in steps)

    def interval(self, t: float, given: float = -math.inf) -> tuple[float, float]:
        """95 % interval of `survival`: Greenwood's variance on the log(-log) scale.

        Where all or none of those at risk had the event the variance says nothing; then
        the exact binomial bound (Clopper and Pearson 1934) of their number holds.
        """
        steps = self._steps(given, t)
        survival = math.prod(1 - d / n for n, d in steps)
        if not 0 < survival < 1:
            return self._exact(survival, steps[-1][0] if steps else self._followed(t))
        spread = math.sqrt(math.fsum(d / (n * (n - d)) for n, d in steps)) / -math.log(survival)
        return survival ** math.exp(Z95 * spread), survival ** math.exp(-Z95 * spread)

    def median(self) -> float | None:
        """The first time by which half have had the event; None: not half of them did."""
        return next((t for t in self.times if self.survival(t) <= 0.5), None)

    def restricted_mean(self, t: float, given: float = 0.0) -> float:
        """Expected wait up to `t`, counted from `given`: the area under the curve."""
        area, level, last = 0.0, 1.0, given
        for time in self.times:
            if given < time <= t:
                area += level * (time - last)
                level, last = self.survival(time, given), time
        return area + level * (t - last)

    def _steps(self, given: float, t: float) -> list[tuple[int, int]]:
        low, high = bisect_right(self.times, given), bisect_right(self.times, t)
        return list(zip(self.at_risk[low:high], self.events[low:high], strict=True))

    def _exact(self, survival: float, count: int) -> tuple[float, float]:
        if not count:
            return 0.0, 1.0
        bound = (ALPHA / 2) ** (1 / count)
        return (bound, 1.0) if survival else (0.0, 1 - bound)

    def _followed(self, t: float) -> int:
        """How many waits were followed up to `t`."""
        return len(self.waits) - bisect_left(self.waits, t)


def kaplan_meier(durations: Sequence[float], observed: Sequence[bool | int]) -> Curve:
    """The curve of waits of these lengths; `observed`: ended with the event (else censored).

    Censored waits count as at risk up to and including their length.
    """
    events = Counter(d for d, seen in zip(durations, observed, strict=True) if seen)
    ordered = sorted(durations)
    times = tuple(sorted(events))
    at_risk = tuple(len(ordered) - bisect_left(ordered, t) for t in times)
    return Curve(times, at_risk, tuple(events[t] for t in times), tuple(ordered))
