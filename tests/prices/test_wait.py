"""Waiting: the product-limit curve against the textbook data, and advice that knows its limits."""

from __future__ import annotations

import math
import warnings
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.model.prices import Offer, Spell
from service.prices.survival import kaplan_meier
from service.prices.track import Silence, make_track
from service.prices.wait import Advice, Stakes, advise, expected_saving, waits_for

# Freireich et al. 1963, 6-MP arm (weeks of remission), as carried by lifelines' load_leukemia
WEEKS = [35, 34, 32, 32, 25, 23, 22, 20, 19, 17, 16, 13, 11, 10, 10, 9, 7, 6, 6, 6, 6]
ENDED = [0, 0, 0, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 1, 0, 1, 0, 1, 1, 1]
CURVE = kaplan_meier(WEEKS, ENDED)

START = datetime(2024, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)


class TestTextbook:
    @pytest.mark.parametrize(
        ("week", "survival"),
        [
            (0, 1.0),
            (6, 0.857143),
            (7, 0.806723),
            (10, 0.752941),
            (13, 0.690196),
            (16, 0.627451),
            (22, 0.537815),
            (23, 0.448179),
            (35, 0.448179),
        ],
    )
    def test_survival(self, week: int, survival: float) -> None:
        assert CURVE.survival(week) == pytest.approx(survival, abs=5e-7)

    def test_median(self) -> None:
        assert CURVE.median() == 23
        assert kaplan_meier([1, 2], [0, 0]).median() is None

    def test_given_nothing_by_week_ten(self) -> None:
        assert 1 - CURVE.survival(23, given=10) == pytest.approx(0.404762, abs=5e-7)

    def test_area_under_the_curve(self) -> None:
        assert CURVE.restricted_mean(23) == pytest.approx(17.909244, abs=5e-7)

    def test_counts(self) -> None:
        assert (CURVE.times, CURVE.events) == ((6, 7, 10, 13, 16, 22, 23), (3, 1, 1, 1, 1, 1, 1))
        assert CURVE.at_risk == (21, 17, 15, 12, 11, 7, 6)

    def test_small_set_worked_by_hand(self) -> None:
        curve = kaplan_meier([2, 3, 3, 5, 8, 4, 6, 10], [1, 1, 1, 1, 1, 0, 0, 0])
        survival = [curve.survival(t) for t in (2, 3, 5, 8, 10)]
        assert survival == pytest.approx([0.875, 0.625, 0.46875, 0.234375, 0.234375])
        assert curve.median() == 5

    def test_saving(self) -> None:
        # 100 now, 85 hoped for within 23 weeks: gross, net of 0.2 a week, fallback 110
        def saving(fallback: int, cost: str) -> float:
            stakes = Stakes(Decimal(100), Decimal(85), Decimal(fallback), Decimal(cost))
            return float(expected_saving(CURVE, stakes, 23))

        assert saving(100, "0") == pytest.approx(8.277311, abs=1e-6)
        assert saving(100, "0.2") == pytest.approx(4.695462, abs=1e-6)
        assert saving(110, "0") == pytest.approx(3.795518, abs=1e-6)


def peer(durations: list[float], ended: list[bool]) -> Any:
    with warnings.catch_warnings():
        # the peer's own imports and its fits of tiny samples warn; our code stays outside
        warnings.simplefilter("ignore")
        lifelines = pytest.importorskip("lifelines")
        return lifelines.KaplanMeierFitter().fit(durations, ended)


def test_interval_equals_the_reference_library() -> None:
    # lifelines: exponential Greenwood, log(-log) transform
    fitted = peer(WEEKS, ENDED)  # type: ignore[arg-type]
    bounds = fitted.confidence_interval_survival_function_
    for week in (6, 7, 10, 13, 16, 22, 23):
        assert CURVE.interval(week) == pytest.approx(tuple(bounds.loc[week]), abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=2, max_size=30))
def test_curve_equals_the_reference_library(waits: list[tuple[int, bool]]) -> None:
    durations, ended = [float(d) for d, _ in waits], [e for _, e in waits]
    fitted, curve = peer(durations, ended), kaplan_meier(durations, ended)
    for t in sorted(set(durations)):
        assert curve.survival(t) == pytest.approx(float(fitted.predict(t)), abs=1e-9)
        low, high = curve.interval(t)
        assert 0 <= low <= curve.survival(t) + 1e-12
        assert curve.survival(t) - 1e-12 <= high <= 1


class TestIntervalAtTheEnds:
    def test_nothing_happened_yet(self) -> None:
        # Clopper and Pearson 1934: 0 of 10, two-sided 95 %: at most 30.85 %
        low, high = kaplan_meier([9] * 10, [0] * 10).interval(5)
        assert (1 - low, high) == (pytest.approx(0.3085, abs=5e-5), 1.0)

    def test_all_of_them_happened(self) -> None:
        assert kaplan_meier([1] * 10, [1] * 10).interval(5) == (
            0.0,
            pytest.approx(0.3085, abs=5e-5),
        )

    def test_nobody_was_followed_that_long(self) -> None:
        assert kaplan_meier([3, 4], [0, 0]).interval(10) == (0.0, 1.0)
        assert kaplan_meier([], []).interval(1) == (0.0, 1.0)


def log_of(*runs: tuple[str, float]) -> list[Spell]:
    spells, day = [], 0.0
    for price, length in runs:
        first, last = START + day * DAY, START + (day + length - 0.25) * DAY
        spells.append(Spell(1, Offer(Decimal(price), "EUR"), first, last, polls=4))
        day += length
    return spells


def ask(*runs: tuple[str, float], until: float | None = None, **more: Any) -> Advice:
    spells = log_of(*runs)
    at = spells[-1].last_seen
    need_by = None if until is None else at + until * DAY
    return advise(spells, at=at, need_by=need_by, **more)


SEVEN_SALES = [("100", 30), ("80", 5)] * 7


class TestWaits:
    def of(self, spells: list[Spell], target: str, *gaps: Silence) -> list[tuple[float, bool]]:
        track = make_track(spells, gaps, at=spells[-1].last_seen)
        return list(zip(*waits_for(track.pieces, Decimal(target)), strict=True))

    def test_from_above_to_at_or_below(self) -> None:
        spells = log_of(("100", 30), ("80", 5), ("90", 10), ("100", 10), ("70", 5), ("100", 7))
        assert self.of(spells, "80") == [(30, True), (20, True), (6.75, False)]
        assert self.of(spells, "90") == [(30, True), (10, True), (6.75, False)]
        assert self.of(spells, "60") == [(66.75, False)]
        assert self.of(spells, "100") == []

    def test_a_wait_that_runs_into_a_gap_is_censored(self) -> None:
        spells = log_of(("100", 30), ("80", 5))
        hole = Silence(START + 10 * DAY, START + 20 * DAY)
        assert self.of(spells, "80", hole) == [(10, False), (10, True)]
        late = [spells[0], Spell(1, Offer(Decimal(80), "EUR"), START + 50 * DAY, START + 51 * DAY)]
        assert self.of(late, "80") == [(29.75, False)]


class TestAdvice:
    def test_silent_below_five_completed_waits(self) -> None:
        a = ask(*SEVEN_SALES[:8], ("100", 3), until=60)
        assert (a.verdict, a.chance, a.interval, a.expected_saving) == (
            "not enough known",
            None,
            None,
            None,
        )
        assert (a.episodes, a.waits) == (4, 5)
        assert a.reasons[0] == "4 of 5 past waits for 80.00 EUR ended with it"

    def test_regular_sales_are_worth_the_wait(self) -> None:
        a = ask(*SEVEN_SALES, ("100", 3), until=60)
        assert a.verdict == "wait"
        assert (a.episodes, a.waits, a.target) == (7, 8, Decimal(80))
        assert a.chance == 1.0
        assert a.interval == (pytest.approx(0.025 ** (1 / 7)), 1.0)
        # 20 saved after 27.25 more days at 0.1 % of 100 a week
        assert float(a.expected_saving or 0) == pytest.approx(20 - 27.25 * 0.1 / 7)

    def test_needed_before_the_next_sale(self) -> None:
        a = ask(*SEVEN_SALES, ("100", 3), until=10)
        assert (a.verdict, a.chance) == ("buy", 0.0)
        assert any("waiting costs" in reason for reason in a.reasons)

    def test_on_sale_now_and_hoping_for_more(self) -> None:
        runs = [("100", 30), ("80", 5), ("100", 20), ("60", 2)] * 6
        a = ask(*runs, ("100", 30), ("80", 3), target=Decimal(60), until=5)
        assert a.verdict == "buy"
        assert a.reasons[2] == "it is on sale now; if missed, it is back at 100.00 EUR"

    def test_at_the_target(self) -> None:
        a = ask(*SEVEN_SALES, until=60, target=Decimal(80))
        assert (a.verdict, a.chance) == ("buy", None)
        assert a.reasons == ("80.00 EUR is at or below 80.00 EUR, the target",)
        assert ask(("100", 3), ("79", 3), until=60, target=Decimal(80)).verdict == "buy"

    def test_at_the_usual_price_of_its_sales(self) -> None:
        a = ask(*SEVEN_SALES, until=60)
        assert (a.verdict, a.target) == ("buy", Decimal(80))
        assert a.reasons[0] == "80.00 EUR is at or below 80.00 EUR, the usual price of its sales"
        few = ask(*SEVEN_SALES[:8], until=60)
        assert (few.verdict, few.episodes, few.chance) == ("not enough known", 4, None)
        assert few.reasons[1:] == (
            "4 of 4 past waits for 80.00 EUR ended with it",
            "a chance needs at least 5",
        )

    def test_need_by_is_past(self) -> None:
        assert ask(*SEVEN_SALES, ("100", 3), until=0).verdict == "buy"
        assert ask(*SEVEN_SALES, ("100", 3), until=-5).reasons == (
            "the date by which it is needed has come",
        )

    def test_no_sale_ever(self) -> None:
        a = ask(("100", 400), until=60)
        assert (a.verdict, a.episodes) == ("not enough known", 0)
        assert a.reasons == ("no sale came and went in 400 days watched",)

    def test_a_target_that_was_never_met(self) -> None:
        a = ask(*SEVEN_SALES, ("100", 3), target=Decimal(50), until=60)
        assert (a.verdict, a.episodes, a.waits) == ("not enough known", 0, 1)

    def test_stale_or_empty(self) -> None:
        spells = log_of(*SEVEN_SALES, ("100", 3))
        late = advise(spells, at=spells[-1].last_seen + 3 * DAY)
        assert (late.verdict, late.target) == ("not enough known", None)
        assert advise([], at=START).verdict == "not enough known"

    def test_an_interval_that_leaves_everything_open(self) -> None:
        # of five waits only one was longer than the 75 days waited so far
        lengths = (10.0, 20.0, 30.0, 40.0, 100.0)
        runs = [run for length in lengths for run in (("100", length), ("80", 5.0))]
        a = ask(*runs, ("100", 75.25), until=30)
        assert (a.verdict, a.chance, a.episodes) == ("not enough known", 1.0, 5)
        assert a.interval == (pytest.approx(0.025), 1.0)
        assert "the interval leaves everything open" in a.reasons

    def test_without_a_date_the_horizon_is_named(self) -> None:
        a = ask(*SEVEN_SALES, ("100", 3))
        assert a.need_by is None
        assert a.verdict == "wait"
        assert a.reasons == (
            "7 of 8 past waits for 80.00 EUR ended with it",
            "chance of 80.00 EUR or less by 2024-12-03: 100 % (95 % interval 59 to 100 %)",
            "no past wait was watched longer than 30 days",
            "sales of one supplier are not independent: take the interval as the least",
            "waiting saves 19.61 EUR on average, net of its cost",
        )

    def test_a_date_within_the_waits_that_were_watched(self) -> None:
        assert not any(
            "no past wait" in reason
            for reason in ask(*SEVEN_SALES, ("100", 3), until=27.25).reasons
        )
        assert any(
            "no past wait" in reason for reason in ask(*SEVEN_SALES, ("100", 3), until=27.5).reasons
        )
        assert not any(
            "on sale now" in reason for reason in ask(*SEVEN_SALES, ("100", 3), until=60).reasons
        )

    def test_the_usual_sale_is_the_dearer_of_the_two_in_the_middle(self) -> None:
        runs = [run for low in ("80", "70", "60", "90") for run in (("100", 30.0), (low, 5.0))]
        assert ask(*runs, ("100", 3)).target == Decimal(80)
        assert ask(*runs[2:], ("100", 3)).target == Decimal(70)

    @pytest.mark.parametrize(("low", "verdict"), [("98", "wait"), ("99", "buy")])
    def test_a_saving_below_a_hundredth_is_not_worth_it(self, low: str, verdict: str) -> None:
        # 2 or 1 saved, less 0.39 for 27 days: 1.61 or 0.61 of 100
        assert ask(*[("100", 30), (low, 5)] * 7, ("100", 3), until=60).verdict == verdict

    def test_waiting_a_moment_only(self) -> None:
        a = ask(*SEVEN_SALES, ("100", 3), until=0.01)
        assert (a.verdict, a.chance) == ("buy", 0.0)

    def test_chance_given_the_time_already_waited(self) -> None:
        runs = [
            r
            for n in (10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
            for r in (("100", float(n)), ("80", 3.0))
        ]
        a = ask(*runs, ("100", 45.25), until=20)
        # six of the ten were longer than 45 days, two of those ended within 65
        assert a.chance == pytest.approx(2 / 6)
        assert not math.isnan((a.interval or (0, 0))[0])
