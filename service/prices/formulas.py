"""Price index formulas, as the PPI Manual (ILO, IMF and others 2004) names them.

`p0`, `pt`: prices of the same items in the base and the current period; `q0`, `qt`:
their quantities. All sequences have the same length. ValueError: no items, or
lengths differ. Answers are ratios (1 = unchanged).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

Values = Sequence[float]
Weighted = Callable[[Values, Values, Values, Values], float]
Unweighted = Callable[[Values, Values], float]


def value(prices: Values, quantities: Values) -> float:
    """What a basket costs: the sum of price times quantity."""
    return math.fsum(p * q for p, q in zip(prices, quantities, strict=True))


def lowe(p0: Values, pt: Values, basket: Values) -> float:
    """The cost of one fixed basket, now by then."""
    return value(pt, basket) / value(p0, basket)


def laspeyres(p0: Values, pt: Values, q0: Values, qt: Values) -> float:  # noqa: ARG001 - one signature for all
    """Lowe with the basket of the base period."""
    return lowe(p0, pt, q0)


def paasche(p0: Values, pt: Values, q0: Values, qt: Values) -> float:  # noqa: ARG001 - one signature for all
    """Lowe with the basket of the current period."""
    return lowe(p0, pt, qt)


def fisher(p0: Values, pt: Values, q0: Values, qt: Values) -> float:
    """Geometric mean of Laspeyres and Paasche."""
    return math.sqrt(laspeyres(p0, pt, q0, qt) * paasche(p0, pt, q0, qt))


def walsh(p0: Values, pt: Values, q0: Values, qt: Values) -> float:
    """Lowe with the geometric mean of both baskets."""
    return lowe(p0, pt, [math.sqrt(a * b) for a, b in zip(q0, qt, strict=True)])


def marshall_edgeworth(p0: Values, pt: Values, q0: Values, qt: Values) -> float:
    """Lowe with the sum of both baskets."""
    return lowe(p0, pt, [a + b for a, b in zip(q0, qt, strict=True)])


def tornqvist(p0: Values, pt: Values, q0: Values, qt: Values) -> float:
    """Geometric mean of the relatives by the mean of both periods' expenditure shares."""
    base, current = _shares(p0, q0), _shares(pt, qt)
    logs = (math.log(r) for r in _relatives(p0, pt))
    return math.exp(math.fsum(x * (a + b) / 2 for x, a, b in zip(logs, base, current, strict=True)))


def carli(p0: Values, pt: Values) -> float:
    """Mean of the relatives. Never chain it: it drifts upwards."""
    relatives = _relatives(p0, pt)
    return math.fsum(relatives) / len(relatives)


def jevons(p0: Values, pt: Values) -> float:
    """Geometric mean of the relatives."""
    relatives = _relatives(p0, pt)
    return math.exp(math.fsum(math.log(r) for r in relatives) / len(relatives))


def dutot(p0: Values, pt: Values) -> float:
    """Ratio of the mean prices."""
    return lowe(p0, pt, [1.0] * len(p0))


def harmonic(p0: Values, pt: Values) -> float:
    """Harmonic mean of the relatives (Coggeshall)."""
    relatives = _relatives(p0, pt)
    return len(relatives) / math.fsum(1 / r for r in relatives)


def cswd(p0: Values, pt: Values) -> float:
    """Geometric mean of Carli and harmonic (Carruthers, Sellwood, Ward, Dalen)."""
    return math.sqrt(carli(p0, pt) * harmonic(p0, pt))


def chained(formula: Weighted, prices: Sequence[Values], quantities: Sequence[Values]) -> float:
    """Product of the links over periods; both hold one sequence of items a period."""
    links = zip(pairwise(prices), pairwise(quantities), strict=True)
    return math.prod(formula(p0, pt, q0, qt) for (p0, pt), (q0, qt) in links)


def chained_unweighted(formula: Unweighted, prices: Sequence[Values]) -> float:
    """Product of the links over periods."""
    return math.prod(formula(p0, pt) for p0, pt in pairwise(prices))


def _relatives(p0: Values, pt: Values) -> list[float]:
    relatives = [b / a for a, b in zip(p0, pt, strict=True)]
    if not relatives:
        raise ValueError("an index needs at least one item")
    return relatives


def _shares(prices: Values, quantities: Values) -> list[float]:
    total = value(prices, quantities)
    return [p * q / total for p, q in zip(prices, quantities, strict=True)]
