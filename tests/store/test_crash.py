"""Killed at any moment, nothing that was acknowledged is lost and nothing is half there."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import text
from store_books import keep, many

from service.store.database import SqlStore, open_store

ROOT = Path(__file__).parents[2]
LISTINGS = 20
KILLS = 6

WRITER = """
import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random
from service.model.deals import Notice
from service.model.prices import Observation, Offer
from service.store.database import open_store
rand = Random(int(sys.argv[2]))
store = open_store(sys.argv[1])
with store.read() as unit:
    start = int(unit.setting("round") or 0)
for number in range(start + 1, start + 100_000):
    at = datetime(2026, 1, 1, tzinfo=UTC) + number * timedelta(hours=6)
    batch = [
        Observation(listing, at, Offer(Decimal(rand.randrange(1, 4)), "EUR"))
        for listing in range(1, 21)
    ]
    with store.write() as unit:
        unit.log.record(batch)
        unit.outbox.add(Notice(f"n{number}", "log", "s", "t", {}, at), at)
        unit.set_setting("round", str(number))
    print(number, " ".join(str(one.offer.price) for one in batch), flush=True)
"""


def killed(url: str, seed: int, after: int) -> list[list[str]]:
    """Lines that a writer wrote before it was killed `after` so many of them."""
    command = [sys.executable, "-c", WRITER, url, str(seed)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        lines = []
        for line in process.stdout:
            lines.append(line)
            if len(lines) == after:
                os.kill(process.pid, signal.SIGKILL)
    # A line that the kill cut short was not told.
    return [line.split() for line in lines if line.endswith("\n")]


@pytest.fixture
def acknowledged(url: str, store: SqlStore) -> dict[int, list[str]]:
    keep(store, many(LISTINGS))
    rand = random.Random(3)
    told: dict[int, list[str]] = {}
    for seed in range(KILLS):
        for number, *prices in killed(url, seed, rand.randrange(3, 40)):
            assert int(number) not in told, "a round that was told is not made again"
            told[int(number)] = prices
    return told


def test_kill_9_while_writing(url: str, acknowledged: dict[int, list[str]]) -> None:
    assert len(acknowledged) >= 3 * KILLS
    with open_store(url) as store, store.read() as unit:
        spells = unit.log.spells(range(1, LISTINGS + 1))
        rounds = int(unit.setting("round") or 0)
        assert rounds >= max(acknowledged)
        # One transaction: log, notice and counter of a round are all there, or none is.
        assert {row["key"] for row in unit.outbox.rows(100_000)} == {
            f"n{n}" for n in range(1, rounds + 1)
        }
        for before, after in pairwise(spells):
            assert before.listing < after.listing or before.last_seen < after.first_seen
        for listing in range(1, LISTINGS + 1):
            assert sum(s.polls for s in spells if s.listing == listing) == rounds
        if store.dialect == "sqlite":
            with store.engine.connect() as conn:
                assert conn.scalar(text("PRAGMA integrity_check")) == "ok"
    by_listing: dict[int, list[object]] = {}
    for spell in spells:
        by_listing.setdefault(spell.listing, []).extend([f"{spell.offer.price:.0f}"] * spell.polls)
    for number, prices in acknowledged.items():
        assert [by_listing[listing][number - 1] for listing in range(1, LISTINGS + 1)] == prices
