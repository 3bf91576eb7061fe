"""Robust scores against the NIST handbook's data and small vectors worked by hand."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.prices.robust import SUSPICIOUS, robust_scale, robust_score, weighted_median


def scores(values: list[float], floor: float = 0.0) -> list[float]:
    ones = [1.0] * len(values)
    centre, scale = weighted_median(values, ones), robust_scale(values, ones, floor)
    return [robust_score(value - centre, scale) for value in values]


class TestUranium:
    # Tietjen and Moore 1972, as in NIST/SEMATECH e-Handbook 1.3.5.17
    data = (199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)
    ones = (1.0,) * 8

    def test_median_and_mad(self) -> None:
        assert weighted_median(self.data, self.ones) == pytest.approx(201.37)
        assert robust_scale(self.data, self.ones) == pytest.approx(1.4826 * 0.995)

    def test_modified_z_scores(self) -> None:
        expected = [-1.3965, -1.2473, -0.7999, -0.3728, 0.3728, 0.3932, 0.5491, 29.9627]
        got = scores(list(self.data))
        assert got == pytest.approx(expected, abs=5e-4)
        assert [abs(score) > SUSPICIOUS for score in got] == [False] * 7 + [True]

    def test_hampel_limits_lie_at_three(self) -> None:
        scale = robust_scale(self.data, self.ones)
        for limit in (196.944439, 205.795561):
            assert abs(robust_score(limit - 201.37, scale)) == pytest.approx(3, abs=1e-5)

    def test_the_plain_z_score_could_never_have_told(self) -> None:
        # with n readings it cannot exceed (n - 1) / sqrt(n), 2.4749 for 8
        plain = (self.data[-1] - statistics.mean(self.data)) / statistics.stdev(self.data)
        assert plain < 7 / math.sqrt(8) < 3


def test_slips_of_the_point_score_alike_on_logs_only() -> None:
    prices = [24.9, 25.1, 24.5, 25.9, 24.9, 26.4, 23.9, 2.49, 25.5, 249.0]
    raw, logs = scores(prices), scores([math.log(p) for p in prices])
    assert (raw[7], raw[9]) == (pytest.approx(-21.69, abs=0.01), pytest.approx(215.84, abs=0.02))
    assert (logs[7], logs[9]) == (pytest.approx(-55.99, abs=0.02), pytest.approx(55.80, abs=0.02))


def test_flat_series_need_a_floor() -> None:
    flat = [24.9] * 9 + [22.9]
    assert scores(flat) == [0.0] * 9 + [-math.inf]
    assert scores(flat, floor=0.02 * 24.9)[-1] == pytest.approx(-4.0161, abs=5e-5)


def test_a_vector_whose_quartiles_mislead() -> None:
    # the robust rule at 2.5 flags the 10 only (quartiles would flag the harmless 2)
    values = [1, 2, 1, 0.5, 1, 10, 1, 0.5, 0.2, 0.05]
    assert [
        value for value, score in zip(values, scores(values), strict=True) if abs(score) > 2.5
    ] == [10]


def test_weights_are_time() -> None:
    assert weighted_median([10, 8], [3, 1]) == 10
    assert weighted_median([10, 8], [1, 3]) == 8
    assert weighted_median([10, 8], [1, 1]) == 9
    assert weighted_median([10, 8, 1], [1, 1, 0]) == 9
    assert weighted_median([10, 8], [0, 0]) == 9


def test_no_values() -> None:
    with pytest.raises(ValueError, match="no values"):
        weighted_median([], [])


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(1, 9)), min_size=1, max_size=20))
def test_whole_weights_are_repetitions(pairs: list[tuple[int, int]]) -> None:
    values, weights = [v for v, _ in pairs], [w for _, w in pairs]
    repeated = [v for v, w in pairs for _ in range(w)]
    assert weighted_median(values, weights) == statistics.median(repeated)
