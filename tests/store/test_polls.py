from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from store_books import BATTERY, DAY, HOUR, NOON, keep, many

from scrapers import RobotsCopy, Validators
from service.flows.ports import HostState, ListingState, VisitRow
from service.store.database import SqlStore

MINUTE = timedelta(minutes=1)
ROOT = Path(__file__).parents[2]


def test_due_by_host_longest_first(store: SqlStore) -> None:
    ids = keep(store, many(9))
    with store.write() as unit:
        states = unit.polls.states(ids.values())
        assert unit.polls.next_due() == NOON
        unit.polls.save_states(
            replace(state, next_due_at=NOON - number * HOUR) for number, state in states.items()
        )
        assert unit.polls.next_due() == NOON - 9 * HOUR
        due = unit.polls.due(NOON - 2 * HOUR)
    assert due == {
        "s1.example": [9, 2],
        "s0.example": [8],
        "s6.example": [7],
        "s5.example": [6],
        "s4.example": [5],
        "s3.example": [4],
        "s2.example": [3],
    }
    with store.read() as unit:
        assert sum(map(len, unit.polls.due(NOON, limit=4).values())) == 4


def test_a_state_comes_back_as_it_was_saved(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    state = ListingState(
        one,
        NOON + HOUR,
        Validators('W/"x"', "Sun, 01 Mar 2026 11:00:00 GMT"),
        "0" * 64,
        "ok",
        None,
        3,
        1,
        NOON,
        "unreachable",
        "timed out",
        NOON - DAY,
        ({"reader": "jsonld", "field": "price", "value": "39,90 €"},),
        {"title": "4S", "gtin": "4006381333931"},
    )
    with store.write() as unit:
        unit.polls.save_states([state])
        loaded = unit.polls.states([one])[one]
        assert loaded == state
        # Again as loaded, then with another page, then with other evidence only.
        unit.polls.save_states([replace(loaded, next_due_at=NOON + 2 * HOUR)])
        assert unit.polls.states([one])[one] == replace(state, next_due_at=NOON + 2 * HOUR)
        unit.polls.save_states([replace(loaded, digest="1" * 64)])
        assert unit.polls.states([one])[one] == replace(state, digest="1" * 64)
        unit.polls.save_states([replace(loaded, evidence=())])
        assert unit.polls.states([one])[one] == replace(state, evidence=())


def test_one_lease_at_a_time(store: SqlStore) -> None:
    with store.write() as unit:
        first = unit.polls.claim("a.example", "me", NOON, 5 * MINUTE)
        assert first is not None
        assert first.until == NOON + 5 * MINUTE
        assert unit.polls.claim("a.example", "you", NOON + 4 * MINUTE, MINUTE) is None
        assert unit.polls.claim("a.example", "me", NOON + 4 * MINUTE, MINUTE) is None
        assert unit.polls.claim("b.example", "you", NOON, MINUTE) is not None
        assert unit.polls.holder("a.example") == "me"
        assert unit.polls.holder("c.example") is None
        unit.polls.release(first)
        assert unit.polls.holder("a.example") is None
        second = unit.polls.claim("a.example", "you", NOON, MINUTE)
        assert second is not None
        assert second.token > first.token


def test_a_lease_that_ran_out_is_free_and_the_old_owner_is_fenced_off(store: SqlStore) -> None:
    with store.write() as unit:
        old = unit.polls.claim("a.example", "me", NOON, MINUTE)
        new = unit.polls.claim("a.example", "you", NOON + MINUTE, MINUTE)
        assert old is not None
        assert new is not None
        assert unit.polls.renew(old, NOON + DAY) is None
        assert not unit.polls.save_host(old, HostState("a.example", failures=9))
        unit.polls.release(old)
        assert unit.polls.holder("a.example") == "you"
        renewed = unit.polls.renew(new, NOON + HOUR)
        assert renewed is not None
        assert renewed.until == NOON + HOUR
        assert unit.polls.save_host(new, HostState("a.example", failures=1))
        assert unit.polls.host("a.example") == HostState("a.example", failures=1)


def test_a_host_comes_back_as_it_was_saved(store: SqlStore) -> None:
    state = HostState(
        "a.example:8080",
        NOON + HOUR,
        2,
        RobotsCopy("rules", "User-agent: *\nDisallow: /cart\n", NOON),
        17,
        date(2026, 3, 1),
        "daily limit",
    )
    with store.write() as unit:
        assert unit.polls.host(state.host) is None
        lease = unit.polls.claim(state.host, "me", NOON, MINUTE)
        assert lease is not None
        assert lease.state == HostState(state.host)
        assert unit.polls.save_host(lease, state)
        assert unit.polls.host(state.host) == state
        unit.polls.release(lease)
        assert not unit.polls.save_host(lease, HostState(state.host))  # too late: it went back
        again = unit.polls.claim(state.host, "you", NOON, MINUTE)
        assert again is not None
        assert again.state == state


def test_the_lease_of_a_dead_owner_can_be_taken_but_its_pace_stays(store: SqlStore) -> None:
    with store.write() as unit:
        lease = unit.polls.claim("a.example", "dead", NOON, HOUR)
        assert lease is not None
        unit.polls.save_host(lease, HostState("a.example", NOON + 10 * MINUTE))
        assert not unit.polls.free("a.example", "someone else", NOON)
        assert unit.polls.free("a.example", "dead", NOON + MINUTE)
        taken = unit.polls.claim("a.example", "me", NOON, HOUR)
        assert taken is not None
        assert taken.state.next_allowed_at == NOON + 10 * MINUTE


WORKER = """
import os, sys, time
from datetime import UTC, datetime, timedelta
from service.store.database import open_store
url, book, owner = sys.argv[1:]
store = open_store(url)
end = time.monotonic() + 1.6
while time.monotonic() < end:
    for number in range(4):
        host = f"h{number}.example"
        with store.write() as unit:
            lease = unit.polls.claim(host, owner, datetime.now(UTC), timedelta(seconds=0.6))
        if lease is None:
            continue
        # Whoever holds the lease is alone: no other's may run at the same time.
        now = datetime.now(UTC).timestamp()
        for one in os.listdir(book):
            if one.startswith(host + "=") and float(one.partition("=")[2]) > now:
                print("overlap", host, one, flush=True)
        name = f"{book}/{host}={lease.until.timestamp():.6f}"
        open(name, "x").close()
        print("visit", host, lease.token, flush=True)
        time.sleep(0.01)
        os.unlink(name)
        with store.write() as unit:
            unit.polls.release(lease)
"""


def test_workers_never_share_a_host_and_a_killed_one_is_replaced(
    url: str, store: SqlStore, tmp_path: Path
) -> None:
    held = tmp_path / "held"
    held.mkdir()
    running = [
        subprocess.Popen(
            [sys.executable, "-c", WORKER, url, str(held), f"w{n}"],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        for n in range(3)
    ]
    time.sleep(0.9)
    os.kill(running[0].pid, signal.SIGKILL)
    said = [process.communicate(timeout=60) for process in running]
    assert [error for _, error in said[1:]] == [b"", b""]
    lines = [line.split() for out, _ in said for line in out.decode().splitlines()]
    assert [line for line in lines if line[0] == "overlap"] == []
    visits = [(host, token) for _, host, token in lines]
    assert len(visits) == len(set(visits)), "no token is given twice"
    assert {host for host, _ in visits} == {f"h{n}.example" for n in range(4)}
    with store.read() as unit:
        assert all(unit.polls.holder(f"h{n}.example") in {None, "w0"} for n in range(4))


def test_visits_are_kept_as_long_as_wished(store: SqlStore) -> None:
    ids = keep(store)
    one, other = ids[BATTERY], ids["https://quill.example/p/4s-3000"]
    rows = [VisitRow(one, NOON + day * DAY, "unreachable", "timed out", None) for day in range(4)]
    with store.write() as unit:
        unit.polls.add_visits([*rows, VisitRow(other, NOON, "ok", None, 200)])
        assert unit.polls.visits(one, limit=3) == rows[:0:-1]
        assert unit.polls.visits(limit=1) == [rows[3]]
        assert unit.polls.prune_visits(NOON + 2 * DAY) == 3
        assert unit.polls.visits() == [rows[3], rows[2]]
