"""Hostile servers and pages: one data file a behaviour in hostile/, see tests/hostile_lab.py.

The list of behaviours is the project's own. Published grounds stand in the files.
"""

from __future__ import annotations

import asyncio
import re
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from fetch_lab import AGENT, PAGE, answer
from hostile_lab import Case, Judge, Ran, certificates, load_cases, meet

from scrapers import Fetcher, Limits, Outcome, Policy, VisitRequest
from scrapers.model import RobotsCopy

if TYPE_CHECKING:
    import ssl
    from collections.abc import Callable

CASES = load_cases()
SLACK = 5.0  # seconds that a busy machine and a tracer may add to a case
MIB = 1024 * 1024


@pytest.fixture(scope="session")
def tls() -> tuple[dict[str, ssl.SSLContext], ssl.SSLContext]:
    return certificates()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_case(
    case: Case, tls: tuple[dict[str, ssl.SSLContext], ssl.SSLContext], peak: Callable[[], int]
) -> None:
    ran = asyncio.run(meet(case, *tls, Judge(case)))
    assert peak() <= 32 * MIB  # the hostile server's own share is in it
    assert ran.outcomes == case.expect, ran.reasons
    assert ran.seconds <= case.data["seconds"] + SLACK
    assert len(ran.seen.heads) <= case.data["requests"]
    _sent_verified(case, ran)
    _checked(case, ran)


_REQUEST = re.compile(
    rb"GET (?P<path>/\S*) HTTP/1\.1\r\n"
    rb"Host: [a-z.0-9:]+\r\n"
    rb"User-Agent: " + re.escape(AGENT.encode()) + rb"\r\n"
    rb"Accept: \S+\r\nAccept-Encoding: gzip\r\n"
    rb"(?:If-None-Match: (?P<etag>[^\r\n]+)\r\n)?(?:If-Modified-Since: (?P<date>[^\r\n]+)\r\n)?"
    rb"Connection: close\r\n\r\n"
)  # fmt: skip


def _sent_verified(case: Case, ran: Ran) -> None:
    """Every request is byte for byte what it should be: no cookie, no referrer, nothing else."""
    conditional = []
    for head in ran.seen.heads:
        match = _REQUEST.fullmatch(head)
        assert match is not None, head
        conditional.append(match["etag"] or match["date"])
    if case.data.get("conditional"):
        assert conditional[-1] == b'"v1"'
    elif "validators" not in case.data:
        assert not any(conditional) or case.name == "H88"


def _checked(case: Case, ran: Ran) -> None:
    last = ran.visits[-1]
    for name, value in case.data.get("check", {}).items():
        wanted = None if value == "none" else value
        if name == "etag":
            assert last.validators.etag == wanted
        elif name == "moved":
            assert last.moved_to is not None
        else:
            assert getattr(last, name) == wanted, name


def test_every_behaviour_of_the_list_has_its_file() -> None:
    ids = {case.data["id"] for case in CASES}
    assert ids == {f"H{n:02}" for n in range(1, 102)}


def test_where_two_classes_are_possible_the_file_says_why() -> None:
    either = {"H19-none", "H15-whole", "H15-cut", "H54", "H66", "H67", "H76-timeout", "H99"}
    assert all("why" in case.data for case in CASES if case.name in either)


def _rss(key: str) -> int:
    with open("/proc/self/status") as status:  # noqa: PTH123  a file of the kernel
        return next(int(line.split()[1]) * 1024 for line in status if line.startswith(key))


@pytest.fixture
def peak() -> Callable[[], int]:
    """Peak resident memory from here on, in bytes above what is held now; 0 where unknown."""
    try:
        with open("/proc/self/clear_refs", "w") as reset:  # noqa: PTH123  a file of the kernel
            reset.write("5")
    except OSError:
        return lambda: 0
    before = _rss("VmRSS")
    return lambda: _rss("VmHWM") - before


def test_other_lanes_go_on_beside_all_of_them(
    tls: tuple[dict[str, ssl.SSLContext], ssl.SSLContext],
) -> None:
    """Every hostile case at once, without reading; a good host is visited all the while."""

    async def run() -> tuple[list[float], set[str], int]:
        async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.readuntil(b"\r\n\r\n")
            writer.write(answer())
            await writer.drain()
            writer.close()

        server = await asyncio.start_server(handle, "127.0.0.1", 0)
        url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/p"
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=Policy(allow_hosts=frozenset({"127.0.0.1"})),
            clock=lambda: datetime.now(UTC),
        )
        tasks = [asyncio.create_task(meet(case, *tls)) for case in CASES]
        allow = RobotsCopy("allow", "", datetime.now(UTC))
        waits, outcomes = [], set()
        async with server:
            while not all(task.done() for task in tasks):
                start = time.monotonic()
                seen = await fetcher.visit(VisitRequest(url, robots=allow))
                waits.append(time.monotonic() - start)
                outcomes.add(seen.outcome.value)
                await asyncio.sleep(0.01)
        await fetcher.aclose()
        return waits, outcomes, len([task.result() for task in tasks])

    waits, outcomes, done = asyncio.run(run())
    assert done == len(CASES)  # and none of them raised
    assert outcomes == {"ok"}
    # not a limit of time: were the good lane held up, its visits would wait for the slow cases
    assert sorted(waits)[len(waits) // 2] < sum(waits) / 5
    assert len(waits) >= 5


def test_a_cancelled_visit_says_so_and_leaves_nothing_open() -> None:
    async def run() -> None:
        gone = asyncio.Event()

        async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.read()  # until the other end closes
            gone.set()
            writer.close()

        server = await asyncio.start_server(handle, "127.0.0.1", 0)
        url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/p"
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=Policy(allow_hosts=frozenset({"127.0.0.1"})),
            clock=lambda: datetime.now(UTC),
            limits=Limits(deadline=20),
        )
        async with server:
            visit = asyncio.create_task(fetcher.visit(VisitRequest(url)))
            await asyncio.sleep(0.1)
            visit.cancel()
            with pytest.raises(asyncio.CancelledError):
                await visit
            await asyncio.wait_for(gone.wait(), 2)
        await fetcher.aclose()

    asyncio.run(run())


def test_one_host_is_never_asked_twice_at_once() -> None:
    """Ten visits at once to one host, under both of its names: one after another."""

    async def run() -> tuple[int, int, list[Outcome]]:
        busy, most, total = 0, 0, 0

        async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            nonlocal busy, most, total
            await reader.readuntil(b"\r\n\r\n")
            busy += 1
            total += 1
            most = max(most, busy)
            await asyncio.sleep(0.01)
            busy -= 1
            writer.write(answer(PAGE))
            await writer.drain()
            writer.close()

        async def names(_host: str, _port: int) -> list[str]:
            return ["127.0.0.1"]

        server = await asyncio.start_server(handle, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=Policy(allow_hosts=frozenset({"h.example", "www.h.example"})),
            clock=lambda: datetime.now(UTC),
            resolver=names,
        )
        async with server:
            found = await asyncio.gather(
                *(
                    fetcher.visit(VisitRequest(f"http://{www}h.example:{port}/{n}"))
                    for n in range(5)
                    for www in ("", "www.")
                )
            )
        await fetcher.aclose()
        return most, total, [one.outcome for one in found]

    most, total, outcomes = asyncio.run(run())
    assert most == 1
    assert total == 20
    assert set(outcomes) == {Outcome.OK}
