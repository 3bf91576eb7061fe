"""What a host is owed outlives the process, the user's hurry and a visit that was cut short.

RFC 9110 section 10.2.3 (Retry-After) and section 5.6.7 (the three forms of a date); the gap,
the back-off and the day's cap are the project's own rules: docs/decisions.md.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from book_kit import CELLS, MOTOR, kit
from fetch_lab import AGENT, answer
from shop_page import product_page

from scrapers import Fetcher, Policy
from service.flows import lanes
from service.flows.look import look_at
from service.flows.poll import poll_due, poll_these
from service.store.database import open_store

MARGIN = timedelta(seconds=0.05)
NOON = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)


@pytest.fixture
def book(tmp_path):
    with kit(tmp_path) as made:
        made.fetcher.pages = {MOTOR: product_page("35.00"), CELLS: product_page("40.00", sku="B")}
        yield made


def state(book, host="motors.example"):
    with book.deps.store.read() as unit:
        return unit.polls.host(host)


def set_state(book, host="motors.example", **changes):
    with book.deps.store.write() as unit:
        lease = unit.polls.claim(host, "me", book.clock(), timedelta(minutes=2))
        unit.polls.save_host(lease, replace(lease.state, **changes))
        unit.polls.release(lease)


def real_poll(book, head: str, *, status: str = "503 Service Unavailable") -> list[str]:
    """Poll MOTOR through the real fetcher; the shop answers with `head` among its headers."""
    asked: list[str] = []

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        asked.append((await reader.readuntil(b"\r\n\r\n")).split(b" ")[1].decode())
        if asked[-1] == "/robots.txt":
            writer.write(answer(b"", "404 Not Found"))
        else:
            writer.write(answer(b"", status, Retry_After=head) if head else answer(b"", status))
        await writer.drain()
        writer.close()

    async def names(_host: str, _port: int) -> list[str]:
        return ["127.0.0.1"]

    async def run() -> None:
        server = await asyncio.start_server(handle, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=Policy(allow_hosts=frozenset({"motors.example"})),
            clock=book.clock,
            resolver=names,
        )
        with book.deps.store.write() as unit:
            url = f"http://motors.example:{port}/m"
            unit.catalogue.move_listing(MOTOR, url, now=book.clock())
        with book.deps.store.read() as unit:
            number = unit.catalogue.listing(url).id
        hosts = book.deps.loopback_hosts
        async with server:
            deps = replace(book.deps, fetcher=fetcher, loopback_hosts=hosts)
            await poll_these(deps, [number], patience=0)
            await poll_these(deps, [number], patience=0)  # the user is in a hurry
        await fetcher.aclose()

    asyncio.run(run())
    return asked


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("7200", 7200),
        ("Tue, 24 Nov 2026 14:00:00 GMT", 7200),  # IMF-fixdate
        ("Tuesday, 24-Nov-26 14:00:00 GMT", 7200),  # RFC 850
        ("Tue Nov 24 14:00:00 2026", 7200),  # asctime
        ("1", 300),  # less than the own back-off after a 503
        ("Tue, 24 Nov 2026 11:00:00 GMT", 300),  # past
        ("soon", 300),
        ("99999999", 7 * 86400),  # a week at most
        ("", 300),
    ],
)
@pytest.mark.parametrize("status", ["503 Service Unavailable", "429 Too Many Requests"])
def test_what_a_host_asks_for_holds_after_a_restart(book, tmp_path, said, seconds, status) -> None:
    asked = real_poll(book, said, status=status)
    assert len(asked) == 2  # robots.txt and the page, once
    book.deps.store.close()
    with open_store(f"sqlite:///{tmp_path / 'book.db'}") as store, store.read() as unit:
        found = [unit.polls.host(host) for host in unit.polls.due(NOON + timedelta(days=30))]
    host = next(one for one in found if one is not None and one.failures)
    assert host.next_allowed_at == NOON + timedelta(seconds=seconds) + MARGIN


def test_a_parked_host_is_left_alone_whoever_asks(book) -> None:
    set_state(book, next_allowed_at=book.clock() + timedelta(hours=2))
    report = asyncio.run(poll_these(book.deps, [book.ids()[MOTOR]]))
    assert "left alone until" in report.waiting["motors.example"]
    said = asyncio.run(look_at(book.deps, MOTOR))
    assert (said["outcome"], said["reason"]) == (
        "throttled", "this shop is left alone for 120 min after its last answer",
    )  # fmt: skip
    assert book.fetcher.asked == []
    assert state(book).next_allowed_at == book.clock() + timedelta(hours=2)
    book.clock.pass_(hours=2, minutes=1)
    assert asyncio.run(look_at(book.deps, MOTOR))["outcome"] == "ok"


def test_the_cap_of_a_day_holds_for_every_kind_of_visit(book) -> None:
    today = book.clock().date()
    set_state(book, day=today, visits_today=lanes.DAILY_CAP)
    report = asyncio.run(poll_these(book.deps, [book.ids()[MOTOR]]))
    assert "visits for today" in report.waiting["motors.example"]
    assert "visits for today" in asyncio.run(look_at(book.deps, MOTOR))["reason"]
    assert book.fetcher.asked == []
    book.clock.pass_(days=1)
    assert asyncio.run(look_at(book.deps, MOTOR))["outcome"] == "ok"
    assert (state(book).visits_today, state(book).day) == (1, today + timedelta(days=1))


class Slow:
    """Answers after `release`; tells when it was asked."""

    def __init__(self, fetcher) -> None:
        self.fetcher = fetcher
        self.asked = asyncio.Event()
        self.release = asyncio.Event()

    async def visit(self, request):
        self.asked.set()
        await self.release.wait()
        return await self.fetcher.visit(request)

    async def aclose(self) -> None:
        """Nothing is open."""


@pytest.mark.parametrize("way", ["poll", "read"])
def test_a_visit_that_is_cut_short_still_costs_its_gap(book, way) -> None:
    async def run() -> None:
        slow = Slow(book.fetcher)
        deps = replace(book.deps, fetcher=slow, loopback_hosts=frozenset())
        work = poll_these(deps, [book.ids()[MOTOR]]) if way == "poll" else look_at(deps, MOTOR)
        task = asyncio.create_task(work)
        await slow.asked.wait()
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    asyncio.run(run())
    found = state(book)
    assert found.next_allowed_at == book.clock() + lanes.DEFAULT_GAP + MARGIN
    assert found.visits_today == 1
    with book.deps.store.read() as unit:
        assert unit.polls.holder("motors.example") is None


def test_a_result_that_was_never_kept_still_costs_its_gap(book, monkeypatch) -> None:
    def full(*_: object) -> None:
        raise OSError("no space left on the disk")

    monkeypatch.setattr("service.flows.writer.keep_batch", full)
    deps = replace(book.deps, loopback_hosts=frozenset())
    with pytest.raises(OSError, match="space"):
        asyncio.run(poll_these(deps, [book.ids()[MOTOR]]))
    assert state(book).next_allowed_at == book.clock() + lanes.DEFAULT_GAP + MARGIN


def test_a_lease_that_ran_out_in_the_wait_for_a_free_place_is_not_used(book) -> None:
    """One place for two hosts: by the time that it is free, another process has the second."""

    async def run():
        slow = Slow(book.fetcher)
        deps = replace(book.deps, fetcher=slow)
        ids = [book.ids()[MOTOR], book.ids()[CELLS]]
        task = asyncio.create_task(poll_these(deps, ids, workers=1))
        await slow.asked.wait()
        await asyncio.sleep(0.2)
        with book.deps.store.read() as unit:
            waiting = [
                host
                for host in ("motors.example", "cells.example")
                if unit.polls.holder(host) is not None
            ]
        assert len(waiting) == 2
        book.clock.pass_(seconds=lanes.HOLD.total_seconds() + 1)
        with book.deps.store.write() as unit:
            taken = [
                unit.polls.claim(host, "elsewhere:1:1", book.clock(), lanes.HOLD)
                for host in waiting
            ]
        assert all(taken)
        slow.release.set()
        return await task

    report = asyncio.run(run())
    assert len(book.fetcher.asked) == 1  # the one that was under way
    assert "the lease on this host was lost" in report.waiting.values()


def test_polls_of_a_day_lie_where_a_hash_puts_them(book) -> None:
    """Not by chance: the same book polled anew has the same times."""
    book.clock.pass_(hours=7)
    assert asyncio.run(poll_due(book.deps)).as_json()["ok"] == 2
    with book.deps.store.read() as unit:
        first = {i: s.next_due_at for i, s in unit.polls.states(book.ids().values()).items()}
    book.clock.pass_(seconds=40)
    asyncio.run(poll_these(book.deps, list(book.ids().values())))
    with book.deps.store.read() as unit:
        again = {i: s.next_due_at for i, s in unit.polls.states(book.ids().values()).items()}
    assert first == again
    assert len(set(first.values())) == len(first)
