"""The columns against plain loops over the same spells and gaps."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from store_books import DAY, HOUR, NOON, keep, many

from service.model.prices import Observation, Offer, Spell
from service.store.columns import NONE, Columns
from service.store.database import SqlStore
from service.store.types import to_micros, to_units

LISTINGS = 25
FRESH = timedelta(hours=48)


def made_up(seed: int, rounds: int) -> list[list[Observation]]:
    """Rounds of polls with pauses, prices that come back, and a change of currency."""
    rand = Random(seed)
    at, batches = NOON, []
    for number in range(rounds):
        at += rand.choice((1, 6, 6, 6, 30, 60, 100)) * HOUR
        batch = []
        for listing in range(1, LISTINGS + 1):
            if rand.random() < 0.7:
                currency = "GBP" if listing % 5 == 0 and number < rounds // 2 else "EUR"
                price = Decimal(rand.choice((10, 11, 12, 15)) * listing)
                batch.append(
                    Observation(
                        listing, at + listing * timedelta(minutes=1), Offer(price, currency)
                    )
                )
        batches.append(batch)
    return batches


@pytest.fixture(params=[1, 2])
def filled(request: pytest.FixtureRequest, store: SqlStore) -> SqlStore:
    keep(store, many(LISTINGS))
    for number, batch in enumerate(made_up(request.param, 60)):
        with store.write() as unit:
            unit.log.record(batch)
        if number % 7 == 0:
            store.columns()  # keeps them warm, so that they must be brought up to date
    return store


def spells_of(store: SqlStore) -> dict[int, list[Spell]]:
    with store.read() as unit:
        found = unit.log.spells(range(1, LISTINGS + 1))
    result: dict[int, list[Spell]] = {}
    for spell in found:
        result.setdefault(spell.listing, []).append(spell)
    return result


def pieces(store: SqlStore) -> dict[int, list[tuple[datetime, datetime, Decimal]]]:
    """(from, until, price) of what is known in the present currency, by listing; gaps cut out."""
    with store.read() as unit:
        gaps = unit.log.gaps(range(1, LISTINGS + 1))
    result: dict[int, list[tuple[datetime, datetime, Decimal]]] = {}
    for listing, spells in spells_of(store).items():
        ends = [
            b.first_seen if b.first_seen - a.last_seen <= FRESH else a.last_seen
            for a, b in pairwise(spells)
        ]
        for spell, end in zip(spells, [*ends, spells[-1].last_seen + FRESH], strict=True):
            if spell.offer.currency != spells[-1].offer.currency:
                continue
            start = spell.first_seen
            for gap in gaps:
                if gap.listing == listing and spell.first_seen <= gap.start < spell.last_seen:
                    result.setdefault(listing, []).append((start, gap.start, spell.offer.price))
                    start = gap.end
            result.setdefault(listing, []).append((start, end, spell.offer.price))
    return result


def beside(columns: Columns, values: dict[int, int]) -> list[int]:
    return [values.get(int(listing), NONE) for listing in columns.listings]


TIMES = [NOON + hours * HOUR for hours in (-5, 8, 200, 333, 700, 1500, 9000)]


def test_prices_as_of_any_time_equal_the_log(filled: SqlStore) -> None:
    columns = filled.columns()
    for at in TIMES:
        price, seen = columns.as_of(to_micros(at))
        with filled.read() as unit:
            now = unit.log.as_of(at)
        assert price.tolist() == beside(
            columns, {k: to_units(v.offer.price) for k, v in now.items()}
        )
        assert seen.tolist() == beside(columns, {k: to_micros(v.seen_at) for k, v in now.items()})


def test_the_lowest_price_of_a_span(filled: SqlStore) -> None:
    columns, known = filled.columns(), pieces(filled)
    for since, until in pairwise(TIMES):
        expected = {}
        for listing, spells in spells_of(filled).items():
            currency = spells[-1].offer.currency
            ends = [
                b.first_seen if b.first_seen - a.last_seen <= FRESH else a.last_seen
                for a, b in pairwise(spells)
            ]
            held = zip(spells, [*ends, spells[-1].last_seen + FRESH], strict=True)
            prices = [
                s.offer.price
                for s, end in held
                if s.offer.currency == currency and s.first_seen <= until and end >= since
            ]
            if prices:
                expected[listing] = to_units(min(prices))
        assert columns.lowest(to_micros(since), to_micros(until)).tolist() == beside(
            columns, expected
        )
    assert known


def test_the_median_price_by_time(filled: SqlStore) -> None:
    columns, known = filled.columns(), pieces(filled)
    for since, until in pairwise(TIMES):
        expected = {}
        for listing, held in known.items():
            spent: dict[Decimal, timedelta] = {}
            for start, end, price in held:
                lasted = min(end, until) - max(start, since)
                if lasted > timedelta(0):
                    spent[price] = spent.get(price, timedelta(0)) + lasted
            passed, whole = timedelta(0), sum(spent.values(), timedelta(0))
            for price in sorted(spent):
                passed += spent[price]
                if 2 * passed >= whole:
                    expected[listing] = to_units(price)
                    break
        assert columns.median(to_micros(since), to_micros(until)).tolist() == beside(
            columns, expected
        )


def test_columns_brought_up_to_date_equal_columns_loaded_anew(filled: SqlStore) -> None:
    from service.store.database import open_store

    warm = filled.columns()
    with open_store(filled.url) as other:
        cold = other.columns()
    for name in ("listing", "first", "last", "price"):
        assert np.array_equal(getattr(warm, name), getattr(cold, name)), name
    assert [warm.names[c] for c in warm.currency] == [cold.names[c] for c in cold.currency]
    assert filled.columns() is warm, "nothing changed"


def test_an_import_into_the_past_is_seen(filled: SqlStore) -> None:
    filled.columns()
    with filled.write() as unit:
        assert (
            unit.log.insert_past(
                [Observation(3, NOON - 30 * DAY, Offer(Decimal(1), "EUR"), "import")]
            )
            == 1
        )
    columns = filled.columns()
    low = columns.lowest(to_micros(NOON - 31 * DAY), to_micros(NOON - 29 * DAY))
    assert low.tolist() == beside(columns, {3: 10_000})


def test_an_empty_log_has_no_answers(store: SqlStore) -> None:
    columns = store.columns()
    assert (
        columns.as_of(5)[0].tolist()
        == columns.lowest(1, 2).tolist()
        == columns.median(1, 2).tolist()
        == []
    )
    keep(store, many(2))
    with store.write() as unit:
        unit.log.record([Observation(2, NOON, Offer(Decimal(7), "EUR"))])
    assert store.columns().listings.tolist() == [2]
