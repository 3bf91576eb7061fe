"""The part's price: what the cheapest listing that could be had cost at every minute."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from scrapers import Availability
from service.model.prices import Offer, Spell
from service.prices.lowest import lowest_over
from service.prices.stats import describe
from service.prices.track import Silence

START = datetime(2026, 1, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)
FRESH = 48


def spell(
    listing: int, price: str, first: int, last: int, stock: Availability = Availability.IN_STOCK
) -> Spell:
    offer = Offer(Decimal(price), "EUR", availability=stock)
    return Spell(
        listing, offer, START + first * HOUR, START + last * HOUR, polls=max(1, (last - first) // 6)
    )


def steps(spells: list[Spell]) -> list[tuple[int, str, int, int]]:
    return [
        (
            s.listing,
            str(s.offer.price),
            (s.first_seen - START) // HOUR,
            (s.last_seen - START) // HOUR,
        )
        for s in spells
    ]


OUT = Availability.OUT_OF_STOCK


def test_the_cheapest_of_two() -> None:
    logs = {
        1: [spell(1, "10", 0, 100)],
        2: [spell(2, "12", 0, 40), spell(2, "9", 46, 60), spell(2, "12", 66, 100)],
    }
    assert steps(lowest_over(logs, at=START + 100 * HOUR)) == [
        (1, "10", 0, 46),
        (2, "9", 46, 66),
        (1, "10", 66, 100),
    ]


def test_out_of_stock_is_no_price() -> None:
    logs = {1: [spell(1, "10", 0, 100)], 2: [spell(2, "8", 0, 20), spell(2, "8", 24, 100, OUT)]}
    assert steps(lowest_over(logs, at=START + 100 * HOUR)) == [(2, "8", 0, 24), (1, "10", 24, 100)]
    gone = {2: [spell(2, "8", 0, 20), spell(2, "8", 24, 100, Availability.DISCONTINUED)]}
    lowest = lowest_over(gone, at=START + 100 * HOUR)
    assert steps(lowest) == [(2, "8", 0, 24)]
    s = describe(lowest, at=START + 100 * HOUR, fresh=timedelta(0), standing=True)
    assert (s.now, s.on_sale, s.percentile, s.low_30d) == (None, None, None, Decimal(8))


def test_a_stale_price_is_not_usable_again_when_seen() -> None:
    logs = {1: [spell(1, "10", 0, 300)]}
    hole = {1: [Silence(START + 100 * HOUR, START + 200 * HOUR)]}
    at = START + 300 * HOUR
    assert steps(lowest_over(logs, hole, at=at)) == [(1, "10", 0, 148), (1, "10", 200, 300)]
    longer = {1: timedelta(hours=72)}
    assert steps(lowest_over(logs, hole, at=at, fresh=longer)) == [
        (1, "10", 0, 172),
        (1, "10", 200, 300),
    ]
    assert steps(lowest_over(logs, at=START + 400 * HOUR)) == [(1, "10", 0, 348)]


def test_a_doubt_kept_aside_makes_it_unusable() -> None:
    logs = {1: [spell(1, "10", 0, 100)], 2: [spell(2, "12", 0, 100)]}
    doubt = {1: [Silence(START + 90 * HOUR, START + 100 * HOUR)]}
    lowest = lowest_over(logs, at=START + 100 * HOUR, unusable=doubt)
    assert steps(lowest) == [(1, "10", 0, 90), (2, "12", 90, 100)]


def test_equal_prices_stay_with_the_listing_that_had_it() -> None:
    logs = {1: [spell(1, "11", 0, 20), spell(1, "10", 26, 100)], 2: [spell(2, "10", 0, 100)]}
    assert steps(lowest_over(logs, at=START + 100 * HOUR)) == [(2, "10", 0, 100)]
    assert steps(lowest_over({2: logs[2], 1: logs[2]}, at=START + 9 * HOUR)) == [(2, "10", 0, 9)]


def test_nothing_and_a_single_reading() -> None:
    assert lowest_over({}, at=START) == []
    assert lowest_over({1: []}, at=START) == []
    assert lowest_over({1: [spell(1, "10", 5, 9)]}, at=START) == []
    assert steps(lowest_over({1: [spell(1, "10", 0, 0)]}, at=START)) == [(1, "10", 0, 0)]
    assert steps(lowest_over({1: [spell(1, "10", 0, 0)]}, at=START + HOUR)) == [(1, "10", 0, 1)]


def test_polls_are_shared_out() -> None:
    logs = {1: [spell(1, "10", 0, 120)], 2: [spell(2, "9", 60, 90), spell(2, "12", 96, 120)]}
    assert [s.polls for s in lowest_over(logs, at=START + 120 * HOUR)] == [10, 5, 4]


runs = st.lists(
    st.tuples(
        st.integers(1, 90), st.integers(0, 80), st.sampled_from(["8", "9", "10"]), st.booleans()
    ),
    max_size=6,
)


@settings(max_examples=200, deadline=None)
@given(st.lists(runs, min_size=1, max_size=4), st.integers(0, 400))
def test_equals_an_hour_by_hour_computation(
    listings: list[list[tuple[int, int, str, bool]]], at: int
) -> None:
    logs: dict[int, list[Spell]] = {}
    for number, changes in enumerate(listings):
        hour, logs[number] = 0, []
        for silence, length, price, stock in changes:
            first = hour + silence
            logs[number].append(
                spell(number, price, first, first + length, Availability.IN_STOCK if stock else OUT)
            )
            hour = first + length
    lowest = lowest_over(logs, at=START + at * HOUR)
    for hour in range(at):
        moment = START + hour * HOUR
        usable = []
        for spells in logs.values():
            seen = [s for s in spells if s.first_seen <= moment]
            fresh = seen and moment - min(seen[-1].last_seen, moment) < FRESH * HOUR
            if fresh and seen[-1].offer.availability is not OUT:
                usable.append(seen[-1].offer.price)
        holds = [s.offer.price for s in lowest if s.first_seen <= moment < s.last_seen]
        assert holds == ([min(usable)] if usable else [])
    assert all(a.last_seen <= b.first_seen for a, b in itertools.pairwise(lowest))
