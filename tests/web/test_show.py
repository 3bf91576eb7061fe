"""How numbers, amounts and times read on a page, and what a browser's language tells.

Sources: SI Brochure 5.4.4 (thin space in groups of three, none for four digits); ISO 4217;
CLDR territory data through Babel.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from service.web import show
from service.web.places import guess

NOW = datetime(2026, 11, 24, 20, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("1234.50", "1234.50"),
        ("12345.50", "12\u202f345.50"),
        ("1234567", "1\u202f234\u202f567"),
        ("-0.60", "\u22120.60"),
        ("0.000", "0.000"),
        ("1000 x 100", "1000 x 100"),
        ("١٢", "١٢"),
        (None, ""),
        ("", ""),
    ],
)
def test_numbers(text: str | None, wanted: str) -> None:
    assert show.number(text) == wanted


def test_money_has_its_sign_behind() -> None:
    assert show.money("230.93", "EUR") == "230.93\u00a0€"
    assert show.money("37.40", "GBP") == "37.40\u00a0£"
    assert show.money("100", "JPY") == "100\u00a0¥"
    assert show.money("5.00", "CHF") == "5.00\u00a0CHF"
    assert show.money("5.00", "CAD") == "5.00\u00a0CAD"  # not a bare $
    assert show.money(None, "EUR") == ""


@pytest.mark.parametrize(
    ("value", "unit", "wanted"),
    [
        ("0.620", "m2", "0.62\u00a0m²"),
        ("2", "m", "2\u00a0m"),
        ("350 g", None, "350\u00a0g"),
        ("1000 x 100 mm", None, "1000 x 100\u00a0mm"),
        ("300", "g", "300\u00a0g"),
        (None, "g", ""),
    ],
)
def test_amounts(value: str | None, unit: str | None, wanted: str) -> None:
    assert show.amount(value, unit) == wanted


@pytest.mark.parametrize(
    ("before", "wanted"),
    [
        (timedelta(seconds=10), "just now"),
        (timedelta(minutes=32), "32 min ago"),
        (timedelta(hours=4), "4 h ago"),
        (timedelta(hours=40), "2 days ago"),
        (timedelta(days=1, hours=13), "2 days ago"),
        (-timedelta(minutes=20), "in 20 min"),
    ],
)
def test_ages(before: timedelta, wanted: str) -> None:
    assert show.ago(NOW - before, NOW) == wanted


def test_times_stand_on_the_user_s_clock() -> None:
    assert show.moment("2026-11-24T20:40:00Z", "Europe/Amsterdam") == "24 Nov 2026, 21:40"
    assert show.day("2026-11-24T23:30:00Z", "Europe/Amsterdam") == "25 Nov 2026"
    assert show.day("2027-03-15") == "15 Mar 2027"
    assert show.day(date(2027, 3, 1), year=False) == "1 Mar"
    assert show.ago(None, NOW) == "never"
    assert show.day(None) == show.moment(None) == ""


@pytest.mark.parametrize(
    ("header", "country", "currency"),
    [
        ("de-AT,de;q=0.9", "Austria", "EUR"),
        ("en-GB", "United Kingdom", "GBP"),
        ("de,en-US;q=0.5", "United States", "USD"),
        ("pl-PL", "Poland", "PLN"),
    ],
)
def test_country_and_currency_are_guessed(header: str, country: str, currency: str) -> None:
    place = guess(header)
    assert place is not None
    assert (place.name, place.currency) == (country, currency)


@pytest.mark.parametrize("header", ["", "en", "xx-QQ", "*", "a" * 5000, "en-<script>", "-,-;q"])
def test_nothing_is_guessed_from_nothing(header: str) -> None:
    assert guess(header) is None
