"""Change rates and visits against the published table of Cho and Garcia-Molina."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.prices import polling as p

RATES = [1, 2, 3, 4, 5]  # changes a day; five visits a day in all


@pytest.mark.parametrize(
    ("visits", "changed", "rate"),
    # -ln((n - X + 0.5) / (n + 0.5)), Cho and Garcia-Molina, ACM TOIT 3(3) 2003
    [(10, 6, 0.8473), (10, 3, 0.3365), (10, 10, 3.0445), (10, 0, 0.0), (20, 4, 0.2171)],
)
def test_bias_reduced_rate(visits: int, changed: int, rate: float) -> None:
    assert p.change_rate(visits, changed) == pytest.approx(rate, abs=5e-5)
    assert p.change_rate(visits, changed, interval=0.25) == pytest.approx(4 * rate, abs=2e-4)


@pytest.mark.parametrize(
    ("changed", "unchanged", "rate"),
    [
        ([1, 2], [1, 3], 0.374159),
        ([4, 20, 10], [10, 20, 30], 0.03984),
        ([1] * 4, [1] * 6, -math.log(0.6)),  # equal intervals: -ln(1 - X/n)
    ],
)
def test_rate_from_unequal_intervals(
    changed: list[float], unchanged: list[float], rate: float
) -> None:
    assert p.change_rate_irregular(changed, unchanged) == pytest.approx(rate, abs=5e-7)


def test_rate_without_an_answer() -> None:
    assert p.change_rate_irregular([], [1, 2]) == 0
    assert p.change_rate_irregular([1, 2], []) is None
    assert p.change_rate_irregular([1e6], [1e-6]) == pytest.approx(0, abs=1e-3)


def test_never_changed() -> None:
    # the "rule of three": 3/n at 95 %
    assert p.upper_rate(100) == pytest.approx(0.03, rel=0.002)


@pytest.mark.parametrize(
    ("rate", "frequency", "share"),
    [
        (1, 1, 0.632121),
        (2, 1, 0.432332),
        (1, 2, 0.786939),
        (1, 0.5, 0.432332),
        (5, 1, 0.198652),
        (0.1, 1, 0.951626),
    ],
)
def test_freshness(rate: float, frequency: float, share: float) -> None:
    assert p.freshness(rate, frequency) == pytest.approx(share, abs=5e-7)


def test_freshness_at_the_ends() -> None:
    assert (p.freshness(1, 0), p.freshness(0, 0), p.freshness(0, 1)) == (0, 1, 1)


class TestTable:
    """Cho and Garcia-Molina, ACM TODS 28(4) 2003: five pages, five visits a day."""

    def test_optimum_for_freshness(self) -> None:
        # published: 1.15 1.36 1.35 1.14 0.00
        visits = p.share_visits(RATES, 5)
        assert visits == pytest.approx([1.1499, 1.3584, 1.3538, 1.1379, 0.0], abs=5e-5)
        assert [round(v, 2) for v in visits] == [1.15, 1.36, 1.35, 1.14, 0.0]

    def test_optimum_for_age(self) -> None:
        # published: 0.84 0.97 1.03 1.07 1.09 (the first cell from memory; it computes to 0.835)
        visits = p.share_visits(RATES, 5, gain=p.marginal_age)
        assert visits == pytest.approx([0.8349, 0.9679, 1.0335, 1.0706, 1.0931], abs=5e-5)

    def test_even_beats_proportional(self) -> None:
        def mean(visits: list[float]) -> float:
            return sum(map(p.freshness, RATES, visits)) / 5

        proportional = [5 * rate / sum(RATES) for rate in RATES]
        assert mean(p.share_visits(RATES, 5)) == pytest.approx(0.373889, abs=5e-7)
        assert mean([1.0] * 5) == pytest.approx(0.365053, abs=5e-7)
        assert mean(proportional) == pytest.approx(0.316738, abs=5e-7)

    def test_a_floor_keeps_every_page_in(self) -> None:
        visits = p.share_visits(RATES, 5, floor=0.5)
        assert visits[4] == 0.5
        assert sum(visits) == pytest.approx(5)

    def test_more_floor_than_visits(self) -> None:
        with pytest.raises(ValueError, match="fewer visits"):
            p.share_visits(RATES, 5, floor=1.1)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.05, 20), st.floats(0.1, 10)), min_size=2, max_size=6),
    st.floats(0.5, 20),
)
def test_no_small_exchange_is_better(pages: list[tuple[float, float]], budget: float) -> None:
    rates, weights = zip(*pages, strict=True)
    visits = p.share_visits(rates, budget, weights=weights)
    assert sum(visits) == pytest.approx(budget, rel=1e-6)

    def worth(amounts: list[float]) -> float:
        return sum(w * p.freshness(r, f) for r, w, f in zip(rates, weights, amounts, strict=True))

    best, step = worth(visits), budget * 1e-3
    for giver in range(len(visits)):
        for taker in range(len(visits)):
            if giver != taker and visits[giver] > step:
                other = list(visits)
                other[giver] -= step
                other[taker] += step
                assert worth(other) <= best + 1e-9
