"""The kernels over all listings answer as the statistics of each listing do."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.model.prices import Offer, Spell
from service.prices import columns as c
from service.prices.stats import describe
from service.prices.track import Silence, make_track, to_us

START = datetime(2025, 1, 1, tzinfo=UTC)
FRESH_MINUTES = 2880


def columns_of(logs: list[list[Spell]], silences: list[list[Silence]]) -> c.SpellColumns:
    rows = [(n, s) for n, spells in enumerate(logs) for s in spells]
    gaps = [
        (row, gap)
        for n, found in enumerate(silences)
        for gap in found
        for row, (m, s) in enumerate(rows)
        if m == n and s.first_seen <= gap.start and gap.end <= s.last_seen
    ]

    def ints(values: list[int]) -> c.Ints:
        return np.array(values, dtype=np.int64)

    return c.SpellColumns(
        len(logs),
        ints([n for n, _ in rows]),
        ints([int(s.offer.price * 10_000) for _, s in rows]),
        ints([to_us(s.first_seen) for _, s in rows]),
        ints([to_us(s.last_seen) for _, s in rows]),
        ints([row for row, _ in gaps]),
        ints([to_us(gap.start) for _, gap in gaps]),
        ints([to_us(gap.end) for _, gap in gaps]),
    )


def log_of(steps: list[tuple[int, str]]) -> tuple[list[Spell], list[Silence]]:
    spells: list[Spell] = []
    silences: list[Silence] = []
    when = START
    for minutes, price in steps:
        when += timedelta(minutes=minutes)
        last = spells[-1] if spells else None
        if last and last.offer.price == Decimal(price):
            if when - last.last_seen > timedelta(minutes=FRESH_MINUTES):
                silences.append(Silence(last.last_seen, when))
            spells[-1] = replace(last, last_seen=when)
        else:
            spells.append(Spell(1, Offer(Decimal(price), "EUR"), when, when))
    return spells, silences


readings = st.lists(
    st.tuples(
        st.one_of(
            st.integers(1, 900),
            st.integers(FRESH_MINUTES - 2, FRESH_MINUTES + 2),
            st.integers(1, 60_000),
        ),
        st.sampled_from(["9.00", "10.00", "10.50", "12.00"]),
    ),
    max_size=12,
)


@settings(max_examples=150, deadline=None)
@given(st.lists(readings, min_size=1, max_size=5), st.integers(0, 200_000))
def test_kernels_equal_the_statistics_of_each_listing(
    steps: list[list[tuple[int, str]]], minutes: int
) -> None:
    logs, silences = map(list, zip(*map(log_of, steps), strict=True))
    columns = columns_of(logs, silences)
    at = START + timedelta(minutes=minutes)
    now = to_us(at)
    rows = c.row_as_of(columns, now)
    lows = {days: c.lowest_in(columns, days, now) for days in (30, 90)}
    medians = c.median_in(columns, 90, now)
    for n, (spells, gaps) in enumerate(zip(logs, silences, strict=True)):
        track = make_track(spells, gaps, at=at)
        stats = describe(spells, gaps, at=at)
        if not track.pieces:
            assert rows[n] == -1
            assert not lows[30][1][n]
            assert not medians[1][n]
            continue
        assert columns.price[rows[n]] == (stats.now or 0) * 10_000
        assert c.last_seen_by(columns, rows[n : n + 1], now)[0] == track.pieces[-1].seen
        for days, low in ((30, stats.low_30d), (90, stats.low_90d)):
            price, known = lows[days][0][n], lows[days][1][n]
            assert known == (low is not None)
            assert low is None or price == low * 10_000
        assert medians[1][n] == (stats.median_90d is not None)
        assert stats.median_90d is None or medians[0][n] == stats.median_90d * 10_000


def test_quartiles_of_time() -> None:
    # 10 days at 8, 20 at 10, 10 at 12: quarters of the time end at 8, 10 and 10
    days = [(0, "8"), (10, "10"), (30, "12")]
    spells = [
        Spell(1, Offer(Decimal(p), "EUR"), START + timedelta(d), START + timedelta(e))
        for (d, p), e in zip(days, (10, 30, 40), strict=True)
    ]
    columns, at = columns_of([spells], [[]]), to_us(START + timedelta(40))
    quarters = [
        int(c.quantile_in(columns, 90, at, share=(n, 4))[0][0]) // 10_000 for n in (1, 2, 3, 4)
    ]
    assert quarters == [8, 10, 10, 12]
    assert int(c.quantile_in(columns, 90, at, share=(26, 100))[0][0]) == 100_000


def test_no_listing_and_no_spell() -> None:
    for count in (0, 3):
        empty = columns_of([[]] * count, [[]] * count)
        assert list(c.row_as_of(empty, 0)) == [-1] * count
        assert not c.lowest_in(empty, 30, 0)[1].any()
        assert not c.median_in(empty, 90, 0)[1].any()
