"""Calendar facts that a person can check on a paper calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from service.model.prices import Offer, Spell
from service.prices.calendar import same_weeks, shop_sales, week_words, yearly_sale, yearly_words
from service.prices.track import Track, make_track

DAY = timedelta(days=1)


def track(*changes: tuple[str, str], until: str, listing: int = 1) -> Track:
    """`("2024-11-26", "30")`: from that day on at 30."""
    spells = []
    ends = [day for day, _ in changes[1:]] + [until]
    for (day, price), end in zip(changes, ends, strict=True):
        first, last = (datetime.fromisoformat(d).replace(tzinfo=UTC) for d in (day, end))
        final = last if end == until else last - DAY / 4
        spells.append(Spell(listing, Offer(Decimal(price), "EUR"), first, final, polls=4))
    return make_track(spells, at=datetime.fromisoformat(until).replace(tzinfo=UTC))


# The Friday after the fourth Thursday of November: 29 November 2024, 28 November 2025
TWO_NOVEMBERS = track(
    ("2024-11-01", "40"),
    ("2024-11-26", "30"),
    ("2024-12-03", "40"),
    ("2025-06-10", "36"),
    ("2025-06-20", "40"),
    ("2025-11-25", "30"),
    ("2025-12-02", "40"),
    until="2026-11-10",
)


def test_the_sale_that_comes_every_year() -> None:
    fact = yearly_sale(TWO_NOVEMBERS)
    assert fact is not None
    assert (fact.years, fact.begins, fact.depth) == (
        (2024, 2025),
        date(2025, 11, 25),
        Decimal("0.25"),
    )
    assert (
        yearly_words(fact) == "cheapest in two years: the last week of November, 25 % down, twice"
    )


def test_a_sale_that_came_once_is_no_custom() -> None:
    once = track(
        ("2025-01-01", "40"), ("2025-06-10", "36"), ("2025-06-20", "40"), until="2026-11-10"
    )
    assert yearly_sale(once) is None
    twice_a_year = track(
        ("2025-01-01", "40"),
        ("2025-06-10", "36"),
        ("2025-06-20", "40"),
        ("2025-09-10", "36"),
        ("2025-09-20", "40"),
        until="2026-11-10",
    )
    assert yearly_sale(twice_a_year) is None


def test_the_week_is_the_one_that_most_of_them_began_in() -> None:
    """Three Novembers, and a lower price some days later that nobody saw come back yet."""
    log = track(
        ("2024-11-01", "40"),
        ("2024-11-22", "30"),
        ("2024-11-29", "40"),
        ("2025-11-22", "30"),
        ("2025-11-29", "40"),
        ("2026-11-22", "30"),
        ("2026-11-29", "40"),
        ("2026-12-01", "28"),
        until="2026-12-02",
    )
    fact = yearly_sale(log)
    assert fact is not None
    words = "on sale in 3 years: the fourth week of November, 25 % down, three times"
    assert yearly_words(fact) == words


def test_a_lower_price_at_another_time_is_said() -> None:
    lower = track(
        ("2023-11-01", "40"),
        ("2023-11-28", "30"),
        ("2023-12-03", "40"),
        ("2024-05-01", "20"),
        ("2024-05-09", "40"),
        ("2024-11-26", "30"),
        ("2024-12-03", "40"),
        until="2025-11-01",
    )
    fact = yearly_sale(lower)
    assert fact is not None
    assert yearly_words(fact) == "on sale in 2 years: the last week of November, 25 % down, twice"


def test_the_same_weeks_of_earlier_years() -> None:
    facts = same_weeks(TWO_NOVEMBERS)
    assert [(f.year, f.start, f.low, f.below_regular) for f in facts] == [
        (2025, date(2025, 11, 10), Decimal(30), Decimal("0.25")),
        (2024, date(2024, 11, 10), Decimal(30), Decimal("0.25")),
    ]
    assert facts[0].end == date(2025, 12, 8)


def test_weeks_without_a_sale_and_leap_days() -> None:
    flat = track(("2023-01-01", "40"), until="2024-02-29")
    assert [(f.year, f.start, f.below_regular) for f in same_weeks(flat)] == [
        (2023, date(2023, 2, 28), 0)
    ]
    assert same_weeks(track(("2024-01-01", "40"), until="2024-03-01")) == []
    assert same_weeks(make_track([], at=datetime(2024, 1, 1, tzinfo=UTC))) == []


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2025, 11, 24), "the last week of November"),
        (date(2025, 11, 23), "the fourth week of November"),
        (date(2025, 11, 1), "the first week of November"),
        (date(2025, 2, 22), "the last week of February"),
        (date(2024, 2, 22), "the fourth week of February"),
        (date(2025, 3, 14), "the second week of March"),
    ],
)
def test_weeks_of_a_month(day: date, words: str) -> None:
    assert week_words(day) == words


class TestShopSales:
    flat = (("2025-01-01", "40"),)

    def falling(self, day: str) -> tuple[tuple[str, str], ...]:
        return (("2025-01-01", "40"), (day, "30"))

    def shop(self, *logs: tuple[tuple[str, str], ...]) -> dict[int, Track]:
        return {n: track(*log, until="2025-12-01", listing=n) for n, log in enumerate(logs)}

    def test_a_third_within_two_days(self) -> None:
        falls = [self.falling(day) for day in ("2025-11-28", "2025-11-29", "2025-11-30")]
        (sale,) = shop_sales(self.shop(*falls, *[self.flat] * 6))
        assert (sale.fell, sale.listings, sale.depth) == (3, 9, Decimal("0.25"))
        assert (sale.start.date(), sale.end.date()) == (date(2025, 11, 28), date(2025, 11, 30))

    def test_less_than_a_third_or_spread_out_or_few(self) -> None:
        falls = [self.falling(day) for day in ("2025-11-28", "2025-11-29", "2025-11-30")]
        assert shop_sales(self.shop(*falls, *[self.flat] * 7)) == []
        spread = [self.falling(day) for day in ("2025-11-20", "2025-11-24", "2025-11-28")]
        assert shop_sales(self.shop(*spread)) == []
        assert shop_sales(self.shop(*falls[:2])) == []
        assert shop_sales({}) == []

    def test_listings_added_later_do_not_count_against_it(self) -> None:
        falls = [self.falling("2025-06-01")] * 3
        late = [(("2025-07-01", "40"),)] * 20
        (sale,) = shop_sales(self.shop(*falls, *late))
        assert (sale.fell, sale.listings) == (3, 3)

    def test_two_days_and_no_more(self) -> None:
        falls = [self.falling(day) for day in ("2025-11-28", "2025-11-29")]
        assert len(shop_sales(self.shop(*falls, self.falling("2025-11-30")))) == 1
        assert shop_sales(self.shop(*falls, self.falling("2025-12-01"))) == []


@pytest.mark.parametrize(("begins", "comes_back"), [("2025-12-06", True), ("2025-12-08", False)])
def test_how_far_an_anniversary_may_lie(begins: str, comes_back: bool) -> None:
    log = track(
        ("2024-11-01", "40"),
        ("2024-11-26", "30"),
        ("2024-12-03", "40"),
        (begins, "30"),
        ("2025-12-20", "40"),
        until="2026-02-01",
    )
    assert (yearly_sale(log) is not None) == comes_back


def test_of_two_sales_in_a_year_the_deeper_one_counts() -> None:
    log = track(
        ("2024-11-01", "40"),
        ("2024-11-20", "38"),
        ("2024-11-22", "40"),
        ("2024-11-26", "30"),
        ("2024-12-03", "40"),
        ("2025-11-25", "30"),
        ("2025-12-02", "40"),
        until="2026-02-01",
    )
    fact = yearly_sale(log)
    assert fact is not None
    assert (fact.years, fact.depth) == ((2024, 2025), Decimal("0.25"))
