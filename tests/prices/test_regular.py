"""Sales filters on small series worked through by hand, and the causal one against time."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.model.prices import Offer, Spell
from service.prices import regular as r
from service.prices.sales import find_sales
from service.prices.stats import implied_duration
from service.prices.track import DAY_US, Silence, make_track, runs_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

START = datetime(2026, 1, 5, tzinfo=UTC)
WEEK = timedelta(days=7)


def series(text: str) -> list[Decimal]:
    """`10x4 8x2` -> four tens, two eights."""
    return [
        Decimal(p)
        for run in text.split()
        for p, _, n in [run.partition("x")]
        for _ in range(int(n or 1))
    ]


# The rules of the filters follow the papers named in `regular`; the answers were worked out
# by hand and by a second program. Weeks, unless said otherwise.
MAIN = "10x4 8x2 10x7 12x2 9 12x4 9x2 12x2 11x2"
CASES: dict[str, dict[Callable[[Sequence[Decimal]], list[Decimal]], str]] = {
    MAIN: {
        r.symmetric_v: "10x13 12x11 11x2",
        r.general_v: "10x13 12x11 11x2",
        r.causal_v: "10x13 12x13",
        r.running_mode: "10x13 12x13",
        r.reference_price: "10x13 12x13",
    },
    "10x3 8x2 11x5": {
        r.symmetric_v: "10x3 8x2 11x5",
        r.general_v: "10x3 11x7",
        r.causal_v: "10x5 11x5",
        r.running_mode: "10 11x9",
    },
    "10x3 8x9": {
        r.symmetric_v: "10x3 8x9",
        r.general_v: "10x3 8x9",
        r.causal_v: "10x7 8x5",
        r.running_mode: "8x12",
    },
    "10x3 9 8 7 6x4": {
        r.symmetric_v: "10x3 9 8 7 6x4",
        r.general_v: "10x3 9 8 7 6x4",
        r.causal_v: "10x7 6x3",
        r.running_mode: "10x3 6x7",
    },
    "10x5 8x7 10x5": {
        r.symmetric_v: "10x5 8x7 10x5",
        r.general_v: "10x5 8x7 10x5",
        r.causal_v: "10x9 8x3 10x5",
        r.running_mode: "10x4 8x9 10x4",
    },
    "20x4 15 20x3 22x3 18 22x3": {
        r.symmetric_v: "20x8 22x7",
        r.general_v: "20x8 22x7",
        r.causal_v: "20x8 22x7",
        r.running_mode: "20x8 22x7",
    },
}


@pytest.mark.parametrize(
    ("posted", "rule", "expected"),
    [
        pytest.param(posted, rule, expected, id=f"{rule.__name__}: {posted}")
        for posted, rules in CASES.items()
        for rule, expected in rules.items()
    ],
)
def test_filters(
    posted: str, rule: Callable[[Sequence[Decimal]], list[Decimal]], expected: str
) -> None:
    assert rule(series(posted)) == series(expected)


@pytest.mark.parametrize(
    ("posted", "expected"),
    [
        (MAIN, "10x11 12x13"),
        ("10x3 8x2 11x5", "10x3 11x5"),
        ("10x3 8x9", "10 8x9"),
        ("10x3 9 8 7 6x4", "10x4 6x4"),
        ("10x5 8x7 10x5", "10x3 8x7 10x5"),
        ("20x4 15 20x3 22x3 18 22x3", "20x6 22x7"),
    ],
)
def test_kehoe_midrigan(posted: str, expected: str) -> None:
    assert r.kehoe_midrigan(series(posted)) == [None, None, *series(expected)]


def test_short_series_have_no_full_window() -> None:
    assert r.kehoe_midrigan(series("10x4")) == [None] * 4
    for rule in (r.symmetric_v, r.general_v, r.causal_v, r.running_mode, r.reference_price):
        assert rule([]) == []
        assert rule(series("10")) == series("10")


def test_how_long_a_sale_may_last() -> None:
    assert r.symmetric_v(series("10x5 8x7 10x5"), back_within=7) == series("10x17")
    assert r.symmetric_v(series("10x2 8x2 10"), back_within=1) == series("10x2 8x2 10")


def test_frequency_of_regular_changes() -> None:
    # of 25 steps 8 change the posted, 2 the regular price
    def frequency(prices: list[Decimal]) -> float:
        return sum(a != b for a, b in itertools.pairwise(prices)) / (len(prices) - 1)

    posted = series(MAIN)
    assert implied_duration(frequency(posted)) == pytest.approx(2.592941, abs=5e-7)
    assert implied_duration(frequency(r.symmetric_v(posted))) == pytest.approx(11.993052, abs=5e-7)


prices_strategy = st.lists(
    st.sampled_from([Decimal(p) for p in (7, 8, 9, 10, 12)]), min_size=1, max_size=40
)


@given(prices_strategy)
def test_regular_prices_are_prices_that_were_charged(prices: list[Decimal]) -> None:
    for rule in (r.symmetric_v, r.general_v, r.causal_v, r.running_mode, r.reference_price):
        regular = rule(prices)
        assert len(regular) == len(prices)
        assert set(regular) <= set(prices)
    for rule in (r.symmetric_v, r.general_v, r.causal_v):
        assert all(reg >= price for reg, price in zip(rule(prices), prices, strict=True))


@given(prices_strategy, st.integers(1, 6))
def test_the_advice_filter_is_the_causal_one_on_any_time(prices: list[Decimal], weeks: int) -> None:
    spells = [
        Spell(1, Offer(price, "EUR"), START + week * WEEK, START + (week + 1) * WEEK, polls=7)
        for week, price in enumerate(prices)
    ]
    expected = r.causal_v(prices, at_most=weeks)
    for week in range(len(prices)):
        track = make_track(spells, at=START + week * WEEK + WEEK / 2)
        # a moment more, for the filter of periods takes the price that follows the last one
        campaign = weeks * WEEK + timedelta(seconds=1)
        regular, _ = find_sales(runs_of(track), at=track.at, campaign=campaign)
        assert regular == expected[week]


def test_sales_tell_how_they_ended() -> None:
    prices = series("10x4 8x2 10x4 7x3 6 9x9")
    spells = [
        Spell(1, Offer(p, "EUR"), START + i * WEEK, START + (i + 1) * WEEK)
        for i, p in enumerate(prices)
    ]
    track = make_track(spells, at=START + len(prices) * WEEK)
    regular, sales = find_sales(runs_of(track), at=track.at)
    assert [(s.how, s.regular, s.low) for s in sales] == [("returned", 10, 8), ("settled", 10, 6)]
    assert [price for _, price in sales[1].steps] == [7, 6]
    assert (sales[1].end or 0) - sales[1].start == 60 * DAY_US
    assert regular == 9
    assert [float(s.depth) for s in sales] == pytest.approx([0.2, 0.4])
    earlier = make_track(spells, at=START + 11 * WEEK)
    assert find_sales(runs_of(earlier), at=earlier.at)[1][-1].how == "open"
    assert find_sales([], at=0) == (None, [])


def test_a_price_that_stood_for_the_whole_time_is_the_regular_one() -> None:
    spells = [
        Spell(1, Offer(Decimal(price), "EUR"), START + first * WEEK, START + last * WEEK)
        for price, first, last in (("100", 0, 4), ("90", 4, 6), ("70", 6, 7))
    ]
    track = make_track(spells, at=START + 7 * WEEK)
    regular, sales = find_sales(runs_of(track), at=track.at, campaign=2 * WEEK)
    assert (regular, [(s.how, s.regular) for s in sales]) == (90, [("settled", 100), ("open", 90)])


class TestResample:
    def of(
        self, *spells: tuple[str, float, float], gaps: Sequence[Silence] = (), weeks: float
    ) -> list[Decimal | None]:
        log = [
            Spell(1, Offer(Decimal(p), "EUR"), START + a * WEEK, START + b * WEEK)
            for p, a, b in spells
        ]
        return r.resample(make_track(log, gaps, at=START + weeks * WEEK))

    def test_the_price_that_held_longest(self) -> None:
        assert self.of(("10", 0, 1.5), ("8", 1.6, 2.4), ("10", 2.4, 3), weeks=3) == series("10x3")
        assert self.of(("10", 0, 1.4), ("8", 1.4, 3), weeks=3) == series("10 8x2")

    def test_ties_go_to_the_higher_price(self) -> None:
        assert self.of(("8", 0, 0.5), ("10", 0.5, 1), weeks=1) == series("10")

    def test_unwatched_periods_have_no_price(self) -> None:
        hole = Silence(START + WEEK, START + 3 * WEEK)
        weeks = self.of(("10", 0, 4), gaps=[hole], weeks=4)
        assert weeks == [Decimal(10), None, None, Decimal(10)]
        assert r.over_gaps(r.symmetric_v, weeks) == weeks

    def test_one_reading(self) -> None:
        assert self.of(("10", 0, 0), weeks=0) == series("10")
        assert r.resample(make_track([], at=START)) == []

    def test_filter_over_a_gap(self) -> None:
        assert r.over_gaps(r.symmetric_v, [*series("10 8"), None, *series("10")]) == [
            *series("10x2"),
            None,
            Decimal(10),
        ]
