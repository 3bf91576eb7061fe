from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from store_books import DAY, HOUR, NOON

from service.model.deals import Deal, DealState, Notice
from service.model.money import Money
from service.store.database import SqlStore

HOLD = timedelta(minutes=5)
NOTICE = Notice("deal-1/log", "log", "subject", "text", {"price": "1.00", "why": ["a"]}, NOON)


def test_deals_open_and_close(store: SqlStore) -> None:
    value = Money(Decimal("37.90"), "EUR")
    first = Deal(
        "d1", "t", "part", "battery", DealState.OPEN, NOON, value, evidence=({"where": "$.offers"},)
    )
    second = replace(first, key="d2", opened_at=NOON + HOUR, value=None)
    with store.write() as unit:
        unit.deals.put(second)
        unit.deals.put(first)
        assert unit.deals.open_deals() == [first, second]
        closed = replace(first, state=DealState.CLOSED, closed_at=NOON + DAY, close_reason="dearer")
        unit.deals.put(closed)
        assert unit.deals.open_deals() == [second]
        assert unit.deals.deals() == [second, closed]
        assert unit.deals.deals(limit=1) == [second]


def test_since_when_a_target_is_met(store: SqlStore) -> None:
    with store.write() as unit:
        assert unit.deals.met_since("t") is None
        unit.deals.set_met("t", NOON)
        unit.deals.set_met("t", NOON + HOUR)
        assert unit.deals.met_since("t") == NOON + HOUR
        unit.deals.set_met("t", None)
        assert unit.deals.met_since("t") is None


def test_a_notice_is_taken_once_and_told_until_it_is_marked(store: SqlStore) -> None:
    with store.write() as unit:
        assert unit.outbox.add(NOTICE, NOON)
        assert not unit.outbox.add(replace(NOTICE, text="another"), NOON)
        assert unit.outbox.claim("me", NOON - HOUR, HOLD) == []
        assert unit.outbox.claim("me", NOON, HOLD) == [NOTICE]
        assert unit.outbox.claim("you", NOON, HOLD) == []
        # The owner died: the lease runs out, the same notice goes to another.
        assert unit.outbox.claim("you", NOON + HOLD, HOLD) == [NOTICE]
        unit.outbox.mark_sent(NOTICE.key, NOON + HOLD)
        unit.outbox.mark_failed(NOTICE.key, "too late", None)
        assert unit.outbox.claim("me", NOON + DAY, HOLD) == []
        (row,) = unit.outbox.rows()
        assert (row["state"], row["attempts"], row["sent_at"]) == ("sent", 1, NOON + HOLD)
        assert not unit.outbox.add(NOTICE, NOON)


def test_a_notice_that_failed_waits_and_is_given_up_at_last(store: SqlStore) -> None:
    with store.write() as unit:
        unit.outbox.add(NOTICE, NOON)
        unit.outbox.claim("me", NOON, HOLD)
        unit.outbox.mark_failed(NOTICE.key, "503", NOON + HOUR)
        assert unit.outbox.claim("me", NOON + HOUR - HOLD, HOLD) == []
        assert [one.attempts for one in unit.outbox.claim("me", NOON + HOUR, HOLD)] == [1]
        unit.outbox.mark_failed(NOTICE.key, "410", None)
        assert unit.outbox.claim("me", NOON + DAY, HOLD) == []
        (row,) = unit.outbox.rows()
        assert (row["state"], row["attempts"], row["reason"]) == ("undelivered", 2, "410")


def test_the_oldest_go_first_and_no_more_than_asked_for(store: SqlStore) -> None:
    with store.write() as unit:
        for number in (3, 1, 2):
            unit.outbox.add(replace(NOTICE, key=f"n{number}"), NOON + number * HOUR)
        keys = [one.key for one in unit.outbox.claim("me", NOON + DAY, HOLD, limit=2)]
        assert keys == ["n1", "n2"]
        assert [one.key for one in unit.outbox.claim("you", NOON + DAY, HOLD)] == ["n3"]


SENDER = """
import sys
from datetime import UTC, datetime, timedelta
from service.store.database import open_store
store = open_store(sys.argv[1])
while True:
    with store.write() as unit:
        claimed = unit.outbox.claim(sys.argv[2], datetime(2026, 4, 1, tzinfo=UTC), timedelta(hours=1), limit=3)
    if not claimed:
        break
    for notice in claimed:
        print(notice.key, flush=True)
        with store.write() as unit:
            unit.outbox.mark_sent(notice.key, datetime.now(UTC))
"""


def test_senders_side_by_side_tell_each_notice_once(url: str, store: SqlStore) -> None:
    with store.write() as unit:
        for number in range(60):
            unit.outbox.add(replace(NOTICE, key=f"n{number}"), NOON)
    running = [
        subprocess.Popen(
            [sys.executable, "-c", SENDER, url, f"s{n}"],
            cwd=Path(__file__).parents[2],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        for n in range(3)
    ]
    said = [process.communicate(timeout=60) for process in running]
    assert [error for _, error in said] == [b""] * 3
    told = [key for out, _ in said for key in out.decode().split()]
    assert sorted(told) == sorted(f"n{number}" for number in range(60))


def test_a_notice_and_its_deal_are_kept_together_or_not_at_all(store: SqlStore) -> None:
    deal = Deal("d1", "t", "part", "battery", DealState.OPEN, NOON)
    with pytest.raises(KeyError), store.write() as unit:  # noqa: PT012 -- one transaction
        unit.deals.put(deal)
        unit.outbox.add(NOTICE, NOON)
        _ = {}["the channel's settings"]
    with store.read() as unit:
        assert (unit.deals.open_deals(), unit.outbox.rows()) == ([], [])
