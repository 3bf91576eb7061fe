"""Statistics on spells against a minute-by-minute computation and published figures."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scrapers import Availability, Tax
from service.model.prices import Offer, Spell
from service.prices.stats import PriceStats, describe, implied_duration
from service.prices.track import Silence, from_us, make_track, to_us

START = datetime(2024, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTES_A_DAY = 1440
FRESH = 2 * MINUTES_A_DAY


def spell(price: str, first: float, last: float, **offer: object) -> Spell:
    terms = replace(Offer(Decimal(price), "EUR"), **offer)  # type: ignore[arg-type]
    return Spell(1, terms, START + first * DAY, START + last * DAY, polls=2)


def days(*runs: tuple[str, int], step: float = 0.25) -> list[Spell]:
    """Runs of whole days one after another, last seen `step` days before the next begins."""
    spells, day = [], 0
    for price, length in runs:
        spells.append(spell(price, day, day + length - step))
        day += length
    return spells


class TestWorkedByHand:
    at = START + 69.75 * DAY
    stats = describe(days(("100", 40), ("80", 2), ("100", 21), ("70", 7)), at=at)

    def test_lows_and_highs(self) -> None:
        s = self.stats
        assert (s.now, s.low_30d, s.low_90d, s.low_365d, s.low_ever) == (Decimal(70),) * 5
        assert (s.high_30d, s.high_ever) == (Decimal(100),) * 2

    def test_time_weights(self) -> None:
        # 61 of 69.75 days at 100
        assert self.stats.median_90d == Decimal(100)
        assert self.stats.percentile == 0.0
        assert self.stats.watched_days == pytest.approx(69.75)

    def test_spells_first_and_last_are_censored(self) -> None:
        assert self.stats.spells == 4
        assert self.stats.spell_days == pytest.approx((2 + 21) / 2)

    def test_changes(self) -> None:
        assert self.stats.changes_per_30d == pytest.approx(3 * 30 / 69.75)

    def test_sales(self) -> None:
        s = self.stats
        assert (s.regular, s.on_sale) == (Decimal(100), True)
        assert s.sale_share == pytest.approx((2 + 6.75) / 69.75)
        assert s.sale_depth == pytest.approx((0.20 + 0.30) / 2)
        assert s.days_between_sales == pytest.approx(23)

    def test_before_the_fall_nothing_of_it_is_known(self) -> None:
        s = describe(days(("100", 40), ("80", 2), ("100", 21), ("70", 7)), at=START + 62 * DAY)
        assert (s.now, s.low_ever, s.on_sale, s.spells) == (Decimal(100), Decimal(80), False, 3)
        assert s.percentile == pytest.approx(100 * 2 / 62)
        assert s.low_30d == Decimal(80)


def test_nothing_known() -> None:
    assert describe([], at=START) == PriceStats()
    assert describe(days(("10", 5)), at=START - DAY) == PriceStats()


def test_a_single_reading() -> None:
    s = describe([spell("10", 0, 0)], at=START)
    assert (s.now, s.low_30d, s.median_90d, s.spells) == (Decimal(10), Decimal(10), Decimal(10), 1)
    assert (s.percentile, s.changes_per_30d, s.implied_days, s.sale_share) == (
        None,
        None,
        None,
        None,
    )
    assert (s.days_since_lower, s.spell_days, s.sale_depth, s.days_between_sales) == (None,) * 4
    assert (s.regular, s.on_sale) == (Decimal(10), False)


def test_a_low_leaves_the_window_when_another_price_was_seen() -> None:
    spells = [spell("80", 0, 10), spell("100", 10.25, 50)]
    assert describe(spells, at=START + 40.2 * DAY).low_30d == Decimal(80)
    assert describe(spells, at=START + 40.25 * DAY).low_30d == Decimal(100)
    assert describe(spells, at=START + 40.25 * DAY).low_90d == Decimal(80)
    # nobody looked for longer: it holds no longer than 48 hours
    late = [spell("80", 0, 10), spell("100", 30, 50)]
    assert describe(late, at=START + 40 * DAY).low_30d == Decimal(80)
    assert describe(late, at=START + 40.1 * DAY).low_30d == Decimal(100)


def test_days_since_it_was_last_this_low() -> None:
    s = describe(days(("90", 10), ("95", 10), ("100", 10), ("95", 5)), at=START + 35 * DAY)
    assert s.days_since_lower == pytest.approx(35 - 19.75)
    s = describe(days(("90", 10), ("95", 10)), at=START + 20 * DAY)
    assert s.days_since_lower == pytest.approx(20 - 9.75)
    assert describe(days(("96", 10), ("95", 10)), at=START + 20 * DAY).days_since_lower is None


def test_a_stale_price_is_shown_but_weighs_no_longer() -> None:
    s = describe([spell("80", 0, 9), spell("100", 9.25, 10)], at=START + 120 * DAY)
    assert (s.now, s.low_30d, s.low_90d, s.low_365d) == (Decimal(100), None, None, Decimal(80))
    assert (s.median_90d, s.end) == (None, START + 10 * DAY)
    assert s.watched_days == pytest.approx(12)


def test_an_unobserved_stretch_is_not_a_price() -> None:
    hole = Silence(START + 10 * DAY, START + 40 * DAY)
    s = describe([spell("100", 0, 50), spell("80", 50.25, 60)], [hole], at=START + 60 * DAY)
    assert s.gaps_days == pytest.approx(30)
    assert s.watched_days == pytest.approx(30)
    assert s.changes_per_30d == pytest.approx(1)
    assert s.spells == 2
    # between spells a silence of more than 48 hours is a gap as well
    s = describe([spell("100", 0, 10), spell("80", 40, 60)], at=START + 60 * DAY)
    assert s.gaps_days == pytest.approx(30)


def test_stock_and_list_price_changes_are_no_price_changes() -> None:
    spells = [
        spell("100", 0, 10),
        spell("100", 10.25, 20, availability=Availability.OUT_OF_STOCK),
        spell("100", 20.25, 30, list_price=Decimal(120)),
    ]
    s = describe(spells, at=START + 30 * DAY)
    assert (s.spells, s.changes_per_30d, s.implied_days) == (1, 0.0, None)


def test_another_currency_or_tax_footing_is_not_compared() -> None:
    spells = [spell("50", 0, 10, currency="USD"), spell("100", 10.25, 20)]
    s = describe(spells, at=START + 20 * DAY)
    assert (s.low_ever, s.spells, s.left_out, s.currency) == (Decimal(100), 1, 1, "EUR")
    net = [spell("84", 0, 10, tax=Tax.EXCLUDED), spell("100", 10.25, 20, tax=Tax.INCLUDED)]
    assert describe(net, at=START + 20 * DAY).low_ever == Decimal(100)
    unknown = [spell("84", 0, 10), spell("100", 10.25, 20, tax=Tax.INCLUDED)]
    assert describe(unknown, at=START + 20 * DAY).low_ever == Decimal(84)


@pytest.mark.parametrize(
    ("frequency", "periods"),
    [
        # Bils and Klenow 2004, JPE 112(5): half of prices last less than 4.3 months
        # (20.9 % a month, from memory); Nakamura and Steinsson 2008, QJE: 19.4 % and 8.7 %
        (0.209, 4.265),
        (0.194, 4.637),
        (0.087, 10.987),
        (0.5, 1.443),
        (0.32, 2.592941),
        (0.08, 11.993052),
    ],
)
def test_implied_duration(frequency: float, periods: float) -> None:
    assert implied_duration(frequency) == pytest.approx(periods, abs=6e-4)


@pytest.mark.parametrize("frequency", [0.0, 1.0, 1.5])
def test_implied_duration_without_an_answer(frequency: float) -> None:
    assert implied_duration(frequency) is None


def test_implied_days_counts_days() -> None:
    s = describe(days(*[(str(p), 10) for p in (10, 11, 10, 12)]), at=START + 40 * DAY)
    assert s.implied_days == pytest.approx(-1 / math.log(1 - 3 / 40))


# -- brute force ---------------------------------------------------------------

readings_strategy = st.lists(
    st.tuples(
        # minutes to the next reading: mostly a poll, at times a silence of days
        st.one_of(
            st.integers(1, 800),
            st.integers(FRESH - 2, FRESH + 3),
            st.integers(1, 60 * MINUTES_A_DAY),
        ),
        st.sampled_from(["9.00", "10.00", "10.50", "12.00"]),
    ),
    min_size=1,
    max_size=25,
)


def log_of(readings: list[tuple[int, str]]) -> tuple[list[Spell], list[Silence]]:
    """Spells and gaps as a price log keeps them."""
    spells: list[Spell] = []
    silences = []
    for minute, price in readings:
        when = START + timedelta(minutes=minute)
        last = spells[-1] if spells else None
        if last and last.offer.price == Decimal(price):
            if when - last.last_seen > timedelta(minutes=FRESH):
                silences.append(Silence(last.last_seen, when))
            spells[-1] = replace(last, last_seen=when, polls=last.polls + 1)
        else:
            spells.append(Spell(1, Offer(Decimal(price), "EUR"), when, when))
    return spells, silences


def minutes_of(readings: list[tuple[int, str]], at: int) -> np.ndarray:
    """The price of every minute up to `at`; NaN where nobody looked."""
    held = np.full(at, np.nan)
    for (minute, price), (following, _) in zip(readings, [*readings[1:], (None, "")], strict=True):
        if following is None:
            held[minute : min(at, minute + FRESH)] = float(price)
        elif following - minute <= FRESH:
            held[minute:following] = float(price)
    return held


@settings(max_examples=150, deadline=None)
@given(readings_strategy, st.integers(0, 100 * MINUTES_A_DAY))
def test_statistics_equal_a_minute_by_minute_computation(
    steps: list[tuple[int, str]], wait: int
) -> None:
    readings, minute = [], 0
    for step, price in steps:
        readings.append((minute, price))
        minute += step
    at = readings[-1][0] + wait
    s = describe(*log_of(readings), at=START + timedelta(minutes=at))
    held = minutes_of(readings, at)
    assert s.now == Decimal(readings[-1][1])
    for window, low, high in (
        (30, s.low_30d, s.high_30d),
        (90, s.low_90d, s.high_90d),
        (365, s.low_365d, s.high_365d),
    ):
        start = at - window * MINUTES_A_DAY
        seen = [Decimal(p) for m, p in readings if m >= start]
        minutes = held[max(0, start) :]
        known = {Decimal(str(p)).quantize(Decimal("0.01")) for p in minutes[~np.isnan(minutes)]}
        inside = [*seen, *known]
        assert low == (min(inside) if inside else None)
        assert high == (max(inside) if inside else None)
    watched = int(np.sum(~np.isnan(held)))
    assert s.watched_days * MINUTES_A_DAY == pytest.approx(watched)
    quarter = held[max(0, at - 90 * MINUTES_A_DAY) :]
    quarter = np.sort(quarter[~np.isnan(quarter)])
    if len(quarter):
        assert s.median_90d == Decimal(str(quarter[(len(quarter) - 1) // 2])).quantize(
            Decimal("0.01")
        )
    year = held[max(0, at - 365 * MINUTES_A_DAY) :]
    year = year[~np.isnan(year)]
    if len(year):
        assert s.percentile == pytest.approx(100 * np.mean(year < float(readings[-1][1])))
    changes = sum(a != b for (_, a), (_, b) in itertools.pairwise(readings))
    assert s.spells == changes + 1
    if watched:
        assert s.changes_per_30d == pytest.approx(changes * 30 * MINUTES_A_DAY / watched)
    end = min(at, readings[-1][0] + FRESH)
    assert s.gaps_days * MINUTES_A_DAY == pytest.approx(end - watched)


@settings(max_examples=100, deadline=None)
@given(readings_strategy)
def test_pieces_never_overlap_and_hold_every_reading(steps: list[tuple[int, str]]) -> None:
    readings, minute = [], 0
    for step, price in steps:
        readings.append((minute, price))
        minute += step
    spells, silences = log_of(readings)
    track = make_track(spells, silences, at=START + timedelta(minutes=minute))
    for one, other in zip(track.pieces, track.pieces[1:], strict=False):
        assert one.start <= one.seen <= one.end <= other.start
    for m, price in readings:
        us = to_us(START + timedelta(minutes=m))
        assert any(p.start <= us <= p.seen and p.price == Decimal(price) for p in track.pieces)


def test_times_are_exact_to_the_microsecond() -> None:
    moment = datetime(2026, 11, 20, 12, 34, 56, 789012, tzinfo=UTC)
    assert from_us(to_us(moment)) == moment
    assert to_us(datetime(1970, 1, 2, tzinfo=UTC)) == 86_400_000_000
