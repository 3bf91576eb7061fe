"""Killed without warning in the middle of `poll --all`: nothing acknowledged is lost.

The signal is SIGKILL (POSIX), which no program can catch.
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
from collections import defaultdict
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

from many_shops import catalogue, many_shops

from service.store.database import open_store

KILLS = int(os.environ.get("TEST_KILLS", "12"))
HOSTS, EACH = 6, 40


def ebbmark(*args: str) -> list[str]:
    return [sys.executable, "-c", "from service.cli import main; main()", *args]


def run(env, *args):
    return subprocess.run(
        ebbmark(*args), env=env, capture_output=True, text=True, timeout=120, check=False
    )


def polled_then_killed(env, out: Path, delay: float) -> list[dict]:
    """Start a pass, kill it `delay` seconds after its first line, answer what it acknowledged."""
    command = ebbmark("poll", "--all", "--json")
    with (
        out.open("wb") as sink,
        subprocess.Popen(command, env=env, stdout=subprocess.PIPE) as process,
    ):
        assert process.stdout is not None
        sink.write(process.stdout.readline())
        try:
            process.wait(timeout=delay)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
        sink.write(process.stdout.read())
        process.wait(timeout=30)
    lines = out.read_bytes().split(b"\n")[:-1]  # an unfinished line was not acknowledged
    return [json.loads(line) for line in lines]


def test_nothing_acknowledged_is_lost(tmp_path, clean_home):
    rng = random.Random(20261124)
    allowed = ",".join(f"127.0.0.{n}" for n in range(1, HOSTS + 1))
    env = {
        "HOME": str(clean_home),
        "PATH": os.environ["PATH"],
        "EBBMARK_DB": f"sqlite:///{tmp_path / 'book.db'}",
        "EBBMARK_ALLOW_HOSTS": allowed,
    }
    with many_shops(HOSTS, slow=0.015) as shops:
        book = tmp_path / "book.toml"
        book.write_text(catalogue(shops, HOSTS, EACH))
        loaded = run(env, "load", str(book))
        assert loaded.returncode == 0, loaded.stderr
        told: list[dict] = []
        killed = 0
        for round_ in range(KILLS):
            shops.round = round_
            lines = polled_then_killed(env, tmp_path / f"{round_}.out", rng.uniform(0.0, 0.7))
            killed += not any("polled" in line for line in lines)
            told += [line for line in lines if "listing" in line]
        assert killed > KILLS // 3, "the kills came too late to mean anything"
        last = run(env, "poll", "--all", "--json")
        assert last.returncode == 0, last.stdout[-2000:] + last.stderr
    check(env["EBBMARK_DB"], told)


def check(url: str, told: list[dict]) -> None:
    store = open_store(url)
    with store.read() as unit:
        ids = {entry.key: entry.id for entry in unit.catalogue.listings()}
        spells = defaultdict(list)
        for spell in unit.log.spells(list(ids.values())):
            spells[spell.listing].append(spell)
        for line in told:
            if line["outcome"] == "ok":
                prices = {spell.offer.price for spell in spells[ids[line["listing"]]]}
                assert Decimal(line["price"]) in prices, line
        for run_ in spells.values():
            for one, other in pairwise(run_):
                assert one.first_seen <= one.last_seen < other.first_seen
        deals = unit.deals.deals(limit=100_000)
        keys = {row["key"] for row in unit.outbox.rows(limit=100_000)}
        assert deals
        for deal in deals:
            assert f"{deal.key}:log" in keys, deal.key
    store.close()
