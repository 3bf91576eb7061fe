"""When a host may be visited again. The rules are the project's own, stricter than RFC 9309."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from fetch_lab import NOW
from hypothesis import given
from hypothesis import strategies as st

from scrapers import Outcome, Page, Visited
from scrapers.pace import (
    ELSEWHERE,
    MARGIN,
    MISSING,
    ROBOTS_BAR,
    Backoff,
    clock_ahead,
    clock_offset,
    feasible_every,
    is_host_failure,
    network_suspect,
    next_allowed,
    spread,
)

GAP = timedelta(seconds=10)
HOUR = 3600.0
DAY = 86400.0


def wait(
    outcome: Outcome = Outcome.OK,
    failures: int = 0,
    *,
    crawl_delay: float | None = None,
    retry_after: float | None = None,
    gap: timedelta = GAP,
) -> float:
    until = next_allowed(NOW, gap, crawl_delay, retry_after, outcome, failures)
    seconds = (until - NOW).total_seconds()
    return seconds - MARGIN if seconds else 0.0


@pytest.mark.parametrize(
    ("found", "seconds"),
    [
        (wait(), 10),
        (wait(gap=timedelta(0)), 0),
        (wait(crawl_delay=5), 10),  # never shorter than our own
        (wait(crawl_delay=30), 30),
        (wait(crawl_delay=1e9), DAY),
        (wait(crawl_delay=math.nan), 10),
        (wait(crawl_delay=-4), 10),
        (wait(Outcome.THROTTLED, 1), 300),
        (wait(Outcome.THROTTLED, 1, retry_after=120), 300),  # the longer of the two
        (wait(Outcome.THROTTLED, 1, retry_after=3600), HOUR),
        (wait(Outcome.THROTTLED, 1, retry_after=1e9), 7 * DAY),
        (wait(Outcome.THROTTLED, 2), 600),
        (wait(Outcome.THROTTLED, 99), DAY),
        (wait(Outcome.UNREACHABLE, 1), 60),
        (wait(Outcome.BARRED, 1), HOUR),
        (wait(Outcome.BARRED, 10), DAY),
        (wait(Outcome.OK, 0, retry_after=90), 90),
    ],
)
def test_the_longest_wait_counts(found: float, seconds: float) -> None:
    assert found == pytest.approx(seconds)


@given(
    st.sampled_from(Outcome),
    st.integers(0, 10**6),
    st.none() | st.floats(),
    st.none() | st.floats(),
    st.integers(0, 10**5),
)
def test_nothing_shortens_a_gap(
    outcome: Outcome, failures: int, delay: float | None, after: float | None, gap: int
) -> None:
    own = timedelta(seconds=gap)
    found = wait(outcome, failures, crawl_delay=delay, retry_after=after, gap=own)
    assert gap - 1e-6 <= found <= max(gap, 7 * DAY) + 1e-6
    assert (
        wait(outcome, failures + 1, crawl_delay=delay, retry_after=after, gap=own) >= found - 1e-6
    )


def visited(outcome: Outcome, reason: str | None = None, **more: object) -> Visited:
    return replace(Visited("https://shop.example/p", outcome, NOW, reason), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("end", "whole_host"),
    [
        (visited(Outcome.OK), False),
        (visited(Outcome.UNREACHABLE, "the host does not answer"), True),
        (visited(Outcome.UNREACHABLE, MISSING), False),
        (visited(Outcome.UNREACHABLE, ELSEWHERE), False),
        (visited(Outcome.THROTTLED), True),
        (visited(Outcome.BARRED, "the host refuses us (status 403)"), True),
        (visited(Outcome.BARRED, ROBOTS_BAR), False),
        (visited(Outcome.BROKEN), False),
        (visited(Outcome.GONE), False),
    ],
)
def test_what_says_something_of_the_whole_host(end: Visited, whole_host: bool) -> None:
    assert is_host_failure(end) is whole_host


def test_the_spread_is_even_and_stays() -> None:
    every = timedelta(hours=6)
    places = [spread(f"https://shop.example/p/{n}", every) for n in range(6000)]
    assert all(timedelta(0) <= place < every for place in places)
    hours = [sum(int(p / timedelta(hours=1)) == h for p in places) for h in range(6)]
    # 1,000 an hour expected; 6 standard deviations of the binomial (1000 * 5/6) are 173
    assert all(827 < n < 1173 for n in hours)
    assert places[0] == spread("https://shop.example/p/0", every)


def test_the_spread_is_the_same_on_every_machine() -> None:
    """SHA-256("abc") begins ba7816bf8f01cfea (FIPS 180-4, example of NIST)."""
    share = (0xBA7816BF8F01CFEA >> 11) / 2**53
    assert spread("abc", timedelta(days=1)) == timedelta(days=1) * share


@pytest.mark.parametrize(
    ("listings", "gap", "every", "feasible"),
    [
        (5000, 10, 6 * HOUR, 216_000),  # the daily cap: 2,000 a day
        (5000, 60, 6 * HOUR, 300_000),
        (50, 10, 6 * HOUR, 6 * HOUR),
        (5000, 0, 6 * HOUR, 6 * HOUR),
    ],
)
def test_an_interval_grows_where_the_gap_demands_it(
    listings: int, gap: float, every: float, feasible: float
) -> None:
    found = feasible_every(
        listings, timedelta(seconds=gap), timedelta(seconds=every), daily_cap=2000
    )
    assert found.total_seconds() == feasible


def test_five_thousand_pages_at_ten_seconds_take_fourteen_hours() -> None:
    found = feasible_every(5000, GAP, timedelta(hours=6), daily_cap=10**6)
    assert found == timedelta(seconds=50_000)  # 13.9 h, by arithmetic


def test_back_off_can_be_scaled_but_not_undone() -> None:
    scaled = Backoff(unreachable=1, throttled=2, barred=3, longest=8)
    assert [scaled.after(Outcome.THROTTLED, n) for n in range(5)] == [0, 2, 4, 8, 8]


def page(url: str) -> Page:
    return Page(url, b"<html>", None, NOW)


def test_three_hosts_that_all_fail_are_one_network_that_fails() -> None:
    down = visited(Outcome.UNREACHABLE, "the host's name has no address (DNS)")
    up = visited(Outcome.OK, page=page("https://c.example/p"))
    assert network_suspect([down] * 3, ["a", "b", "c"])
    assert not network_suspect([down] * 3, ["a", "b", "b"])
    assert not network_suspect([down, down, up], ["a", "b", "c"])


def test_three_hosts_that_lead_to_one_page_are_a_sign_on_page() -> None:
    portal = visited(Outcome.OK, page=page("http://portal.example/login"))
    assert network_suspect([portal] * 3, ["a", "b", "c"])


def test_a_wrong_clock_is_told_from_one_wrong_host() -> None:
    def ahead(seconds: float) -> float:
        found = clock_ahead(visited(Outcome.OK, server_date=NOW + timedelta(seconds=seconds)))
        assert found is not None
        return found

    assert clock_offset([ahead(0), ahead(1), ahead(-7200)]) is None
    assert clock_offset([ahead(7200), ahead(7201), ahead(0)]) == 7200
    assert clock_offset([ahead(7200)] * 2) is None
    assert clock_ahead(visited(Outcome.OK)) is None
