"""How often a page changes, and how to share visits among pages.

Prices change as a Poisson process of some rate; a visit sees whether there was any
change since the last one, not how many. Cho and Garcia-Molina: "Estimating
frequency of change", ACM TOIT 3(3) 2003, and "Effective page refresh policies for
Web crawlers", ACM TODS 28(4) 2003. Rates and frequencies are per unit of time
of the caller's choice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

ROUNDS = 60  # halvings: what doubles can tell apart
Gain = Callable[[float, float], float]


def change_rate(visits: int, changed: int, interval: float = 1.0) -> float:
    """Changes per unit of time, from equal intervals; bias-reduced (TOIT 2003).

    `visits` that could see a change, `changed` of them did. Stays finite when all did.
    """
    return -math.log((visits - changed + 0.5) / (visits + 0.5)) / interval


def change_rate_irregular(changed: Sequence[float], unchanged: Sequence[float]) -> float | None:
    """The most likely rate from unequal intervals, with and without a change (TOIT 2003).

    Solves sum t / (exp(rate t) - 1) over changed = sum of unchanged. 0: none changed.
    None: all changed, so that any high rate would do.
    """
    if not changed:
        return 0.0
    still = math.fsum(unchanged)
    if not still:
        return None

    def surplus(rate: float) -> float:
        return math.fsum(_hazard(rate, t) for t in changed) - still

    return _root(surplus, len(changed) / still)


def _hazard(rate: float, t: float) -> float:
    return t / math.expm1(rate * t) if rate * t < 700 else 0.0


def _root(falling: Callable[[float], float], high: float) -> float:
    """Where a falling function of a positive number crosses 0, near `high` or beyond."""
    return _bracket(falling, high)[1]


def _bracket(falling: Callable[[float], float], high: float) -> tuple[float, float]:
    low = 0.0
    while falling(high) > 0:
        low, high = high, 2 * high
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        if falling(middle) > 0:
            low = middle
        else:
            high = middle
    return low, high


def upper_rate(watched: float, level: float = 0.95) -> float:
    """The highest rate that still leaves a chance of 1 - `level` of no change in that time.

    For a page that never changed yet: a rate of 0 would mean never to look again.
    """
    return -math.log(1 - level) / watched


def freshness(rate: float, frequency: float) -> float:
    """Share of time that a copy is up to date, visited at even intervals (TODS 2003)."""
    if frequency == 0:
        return 1.0 if rate == 0 else 0.0
    changes = rate / frequency
    return -math.expm1(-changes) / changes if changes else 1.0


def marginal_freshness(rate: float, frequency: float) -> float:
    """What one more visit per unit of time adds to freshness."""
    return _any_twice(rate / frequency) / rate if frequency else 1 / rate


def marginal_age(rate: float, frequency: float) -> float:
    """What one more visit per unit of time takes off the mean age of a copy."""
    if not frequency:
        return math.inf
    return 1 / (2 * frequency**2) - _any_twice(rate / frequency) / rate**2


def _any_twice(changes: float) -> float:
    """1 - exp(-x) - x exp(-x): two or more changes between visits."""
    return -math.expm1(-changes) - changes * math.exp(-changes)


def share_visits(
    rates: Sequence[float],
    budget: float,
    *,
    weights: Sequence[float] | None = None,
    gain: Gain = marginal_freshness,
    floor: float = 0.0,
) -> list[float]:
    """Visits per unit of time by page that make the most of `budget`; each at least `floor`.

    Found at the price of a visit at which the pages together want just the budget. The optimum
    gives pages that change too fast nothing at all, so people want a floor. Rates are above 0
    (use `upper_rate` for a page that never changed). ValueError: the floors alone exceed the
    budget.
    """
    if floor * len(rates) > budget:
        raise ValueError("fewer visits than pages times their floor")
    money = list(weights or [1.0] * len(rates))

    def visits(price: float) -> list[float]:
        return [_worth(r, w, price, gain, floor) for r, w in zip(rates, money, strict=True)]

    cheap, dear = _bracket(lambda price: math.fsum(visits(price)) - budget, 1.0)
    many, few = visits(cheap), visits(dear)
    spread = math.fsum(many) - math.fsum(few)
    part = (budget - math.fsum(few)) / spread if spread else 0.0
    return [low + part * (high - low) for low, high in zip(few, many, strict=True)]


def _worth(rate: float, weight: float, price: float, gain: Gain, floor: float) -> float:
    """Visits up to where one more is worth less than `price`."""
    if weight * gain(rate, floor) <= price:
        return floor
    return max(floor, _root(lambda f: weight * gain(rate, f) - price, max(rate, floor)))
