"""Made-up price histories, as spells and as one row a poll."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from random import Random

POLL = 6 * 3600 * 1_000_000
START = 1_640_995_200_000_000  # 2022-01-01T00:00Z


def history(listing: int, polls: int) -> Iterator[tuple[int, int, int]]:
    """(first poll, last poll, price in cents): a price holds 21 days on average; some are sales."""
    rand = Random(listing)
    regular, at = rand.randrange(300, 20_000), 0
    price = regular
    while at < polls:
        length = max(1, int(rand.expovariate(1 / 84)))
        yield at, min(at + length, polls) - 1, price
        at += length
        before = price
        while price == before:
            if price == regular and rand.random() < 0.4:
                price = round(regular * rand.choice((0.75, 0.8, 0.85, 0.9)))
            else:
                regular = max(100, round(regular * rand.uniform(0.95, 1.08)))
                price = regular


def fill(conn: sqlite3.Connection, listings: int, days: int) -> None:
    """A table `polls` with one row a poll, in the order in which they came."""
    polls = days * 4
    price = [[0] * polls for _ in range(listings)]
    for listing in range(listings):
        for first, last, cents in history(listing + 1, polls):
            price[listing][first : last + 1] = [cents * 100] * (last - first + 1)
    conn.execute("BEGIN")
    for number in range(polls):
        at = START + number * POLL
        conn.executemany(
            "INSERT INTO polls VALUES (?, ?, ?, 'EUR', NULL, 1, 1)",
            [(listing + 1, at, price[listing][number]) for listing in range(listings)],
        )
    conn.execute("COMMIT")
