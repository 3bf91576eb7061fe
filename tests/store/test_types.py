from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from store_books import HOUR, NOON, keep, offer

from service.errors import InputError
from service.model.prices import Observation, Offer
from service.store.database import SqlStore
from service.store.types import EPOCH, from_micros, from_units, instant, to_micros, to_units


@given(st.timedeltas(timedelta(0), timedelta(days=84_000)).map(lambda passed: EPOCH + passed))
def test_an_instant_survives_to_the_microsecond(at: datetime) -> None:
    assert from_micros(to_micros(at)) == at == instant(to_micros(at))


@given(st.decimals(-10_000_000, 10_000_000, places=4))
def test_money_survives_exactly(amount: Decimal) -> None:
    assert from_units(to_units(amount)) == amount


# POSIX.1 (The Open Group, 4.16): 2038-01-19T03:14:07Z is 2**31 - 1 seconds since the epoch.
def test_instants_count_from_the_epoch() -> None:
    assert to_micros(datetime(2038, 1, 19, 3, 14, 7, tzinfo=UTC)) == (2**31 - 1) * 1_000_000


def test_another_zone_is_the_same_instant() -> None:
    berlin = timezone(timedelta(hours=1))
    assert to_micros(datetime(2026, 1, 1, 13, tzinfo=berlin)) == to_micros(
        datetime(2026, 1, 1, 12, tzinfo=UTC)
    )


@pytest.mark.parametrize("bad", ["0.00001", "12.34567", "NaN", "Infinity", "1e16"])
def test_money_that_cannot_be_kept_exactly_is_refused(bad: str) -> None:
    with pytest.raises(InputError):
        to_units(Decimal(bad))


def test_a_price_that_is_too_fine_is_refused_and_nothing_is_kept(store: SqlStore) -> None:
    listing = keep(store)["quill/spar"]
    with pytest.raises(InputError, match="more than 4 decimals"), store.write() as unit:
        unit.log.record([Observation(listing, NOON, Offer(Decimal("1.23456"), "EUR"))])
    with store.read() as unit:
        assert unit.log.spells([listing]) == []


def test_a_time_without_zone_is_refused(store: SqlStore) -> None:
    listing = keep(store)["quill/spar"]
    naive = datetime(2026, 3, 1, 12)  # noqa: DTZ001 -- the point of the test
    with store.write() as unit:
        unit.log.record([Observation(listing, NOON - HOUR, offer("5.00"))])
    for price in ("5.00", "6.00"):
        with pytest.raises(InputError, match="no time zone"), store.write() as unit:
            unit.log.record([Observation(listing, naive, offer(price))])


def test_the_database_holds_whole_numbers(store: SqlStore) -> None:
    """SQLite would keep a Numeric as REAL and a DateTime as text."""
    listing = keep(store)["quill/spar"]
    with store.write() as unit:
        unit.log.record([Observation(listing, NOON, offer("0.10", was="12.3456"))])
    with store.engine.connect() as conn:
        row = conn.execute(text("SELECT price, list_price, first_seen FROM running")).one()
    assert tuple(row) == (1_000, 123_456, to_micros(NOON))
    assert all(type(value) is int for value in row)
