"""A redirect into another host's lane: the lease and the gap of that host hold too.

RFC 9309 names no rule for redirects; that they count as visits is the project's own.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from book_kit import kit
from fetch_lab import AGENT, answer

from scrapers import ELSEWHERE, Fetcher, Outcome, Policy, VisitRequest
from service.flows import lanes
from service.flows.door import door

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from scrapers import Visited

HOSTS = frozenset({"old.example", "new.example"})


@pytest.fixture
def book(tmp_path: Path) -> Iterator[object]:
    with kit(tmp_path) as made:
        yield made


def visit(book, before=None) -> tuple[Visited, list[str]]:
    """Visit a page of old.example that has moved to new.example; `before` runs first."""

    async def run() -> tuple[Visited, list[str]]:
        asked: list[str] = []

        async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            head = (await reader.readuntil(b"\r\n\r\n")).decode()
            host = head.partition("\r\nHost: ")[2].partition(":")[0]
            asked.append(host + head.split(" ")[1])
            if head.startswith("GET /robots.txt"):
                writer.write(answer(b"", "404 Not Found"))
            elif host == "old.example":
                new = f"http://new.example:{port}/p"
                writer.write(answer(b"", "301 Moved Permanently", Location=new))
            else:
                writer.write(answer())
            await writer.drain()
            writer.close()

        async def names(_host: str, _port: int) -> list[str]:
            return ["127.0.0.1"]

        server = await asyncio.start_server(handle, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=Policy(allow_hosts=HOSTS),
            clock=book.deps.clock,
            resolver=names,
            door=door(book.deps),
        )
        async with server:
            if before:
                await before(f"new.example:{port}")
            found = await fetcher.visit(VisitRequest(f"http://old.example:{port}/p"))
        await fetcher.aclose()
        return found, asked

    return asyncio.run(run())


def test_a_free_host_is_entered_and_left_with_its_gap(book) -> None:
    found, asked = visit(book)
    assert found.outcome is Outcome.OK
    assert found.moved_to is not None
    host = found.moved_to.split("/")[2]
    with book.deps.store.read() as unit:
        state = unit.polls.host(host)
        assert unit.polls.holder(host) is None
    margin = timedelta(seconds=0.05)  # the way to the host and back
    assert state.next_allowed_at == book.deps.clock() + lanes.DEFAULT_GAP + margin
    assert state.visits_today == 1
    assert asked[-1] == "new.example/p"


def test_a_host_that_another_worker_visits_is_not_asked(book) -> None:
    async def taken(host: str) -> None:
        with book.deps.store.write() as unit:
            held = unit.polls.claim(host, "other", book.deps.clock(), timedelta(minutes=2))
        assert held is not None

    found, asked = visit(book, taken)
    assert (found.outcome, found.reason) == (Outcome.UNREACHABLE, ELSEWHERE)
    assert not any(one.startswith("new.example") for one in asked)


def test_a_host_that_is_parked_is_not_asked(book) -> None:
    later = book.deps.clock() + timedelta(hours=3)
    names: list[str] = []

    async def parked(host: str) -> None:
        names.append(host)
        lease = await lanes.claim(book.deps, host, patience=0)
        assert lease is not None
        with book.deps.store.write() as unit:
            unit.polls.save_host(lease, replace(lease.state, next_allowed_at=later))
            unit.polls.release(lease)

    found, asked = visit(book, parked)
    assert found.reason == ELSEWHERE
    assert not any(one.startswith("new.example") for one in asked)
    with book.deps.store.read() as unit:
        assert unit.polls.host(names[0]).next_allowed_at == later  # it stays parked
        assert unit.polls.holder(names[0]) is None
