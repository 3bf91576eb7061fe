"""CPU per request of our fetcher against other clients, in one run on loopback.

    python tests/bench/bench_fetch.py [--requests 1500] [--rounds 5] [--lanes 50] [--loop uvloop]

A server process of its own sends the same product page; every client closes its
connection after each answer except where a pool is the point. CPU seconds are
user plus system of this process; the ratios are what counts. Peers: aiohttp, and
httpx as it comes with one shared pool, kept open and closed after each (whether
sniffio is there is printed: without it httpcore looks for it at every request).
The floors are plain code on asyncio's own transports: connect, send, read and
close on a bare protocol, without h11 and with it. The fetcher may go below the
second, since it watches its sockets itself and counts a body of known length
without h11. `--loop uvloop` runs every client on that loop, if it is installed.
"""

from __future__ import annotations

import argparse
import asyncio
import importlib.util
import multiprocessing
import statistics
import sys
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from typing import TYPE_CHECKING

import aiohttp
import h11
import httpx

from scrapers import Fetcher, Outcome, Policy, RobotsCopy, VisitRequest, guarded_transport

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

AGENT = "Ebbmark/0.1 (+mailto:someone@club.example)"
POLICY = Policy(allow_hosts=frozenset({"127.0.0.1"}))
PAGE = (
    b"<!doctype html><html><head><title>Tube</title></head><body>"
    + b"<p>Carbon tube 8 mm, 7.90 EUR</p>" * 900
    + b"</body></html>"
)  # some 30 KB, a usual product page after gzip

Ask = Callable[[str], Awaitable[None]]


async def _serve(pipe: Connection) -> None:
    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while head := await reader.readuntil(b"\r\n\r\n"):
                close = b"connection: close" in head.lower()
                writer.write(
                    b"HTTP/1.1 200 OK\r\nContent-Type: text/html; charset=utf-8\r\n"
                    b"Content-Length: %d\r\n"
                    % len(PAGE)
                    + (b"Connection: close\r\n\r\n" if close else b"\r\n")
                    + PAGE
                )
                await writer.drain()
                if close:
                    break
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        writer.close()

    server = await asyncio.start_server(handle, "127.0.0.1", 0, backlog=512)
    pipe.send(server.sockets[0].getsockname()[1])
    await asyncio.get_running_loop().run_in_executor(None, pipe.recv)
    server.close()


def _server(pipe: Connection) -> None:
    asyncio.run(_serve(pipe))


async def _drive(ask: Ask, url: str, requests: int, lanes: int) -> float:
    """CPU seconds for 1,000 requests, `lanes` at a time."""
    left = iter(range(requests))

    async def lane() -> None:
        for _ in left:
            await ask(url)

    start = time.process_time()
    async with asyncio.TaskGroup() as group:
        for _ in range(lanes):
            group.create_task(lane())
    return (time.process_time() - start) / requests * 1000


async def _fetcher(url: str, requests: int, lanes: int) -> float:
    fetchers = [
        Fetcher(user_agent=AGENT, policy=POLICY, clock=lambda: datetime.now(UTC))
        for _ in range(lanes)
    ]  # one each: lanes to one host would wait for one another
    allow = RobotsCopy("allow", "", datetime.now(UTC))
    free = list(fetchers)

    async def ask(at: str) -> None:
        fetcher = free.pop()
        seen = await fetcher.visit(VisitRequest(at, robots=allow))
        free.append(fetcher)
        assert seen.outcome is Outcome.OK, seen.reason

    return await _drive(ask, url, requests, lanes)


async def _transport(url: str, requests: int, lanes: int) -> float:
    async with httpx.AsyncClient(transport=guarded_transport(POLICY), trust_env=False) as client:

        async def ask(at: str) -> None:
            response = await client.get(at)
            assert len(response.content) == len(PAGE)

        return await _drive(ask, url, requests, lanes)


async def _aiohttp(url: str, requests: int, lanes: int) -> float:
    connector = aiohttp.TCPConnector(limit=lanes, force_close=True)
    async with aiohttp.ClientSession(connector=connector) as session:

        async def ask(at: str) -> None:
            async with session.get(at, headers={"Connection": "close"}) as response:
                assert len(await response.read()) == len(PAGE)

        return await _drive(ask, url, requests, lanes)


async def _shared_pool(url: str, requests: int, lanes: int) -> float:
    limits = httpx.Limits(max_connections=lanes, max_keepalive_connections=lanes)
    async with httpx.AsyncClient(limits=limits, trust_env=False, timeout=60) as client:

        async def ask(at: str) -> None:
            response = await client.get(at)
            assert len(response.content) == len(PAGE)

        return await _drive(ask, url, requests, lanes)


async def _shared_pool_closed(url: str, requests: int, lanes: int) -> float:
    limits = httpx.Limits(max_connections=lanes, max_keepalive_connections=lanes)
    closed = {"Connection": "close"}
    async with httpx.AsyncClient(
        limits=limits, trust_env=False, timeout=60, headers=closed
    ) as client:

        async def ask(at: str) -> None:
            response = await client.get(at)
            assert len(response.content) == len(PAGE)

        return await _drive(ask, url, requests, lanes)


class _Bare(asyncio.Protocol):
    """Collects what comes until the other end closes."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []
        self.over: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def data_received(self, data: bytes) -> None:
        self.parts.append(data)

    def connection_lost(self, _error: Exception | None) -> None:
        if not self.over.done():
            self.over.set_result(None)


HEADERS = [
    (b"Host", b"127.0.0.1"),
    (b"User-Agent", AGENT.encode()),
    (b"Accept", b"*/*"),
    (b"Accept-Encoding", b"gzip"),
    (b"Connection", b"close"),
]


async def _bare(url: str, request: Callable[[], bytes]) -> bytes:
    port = httpx.URL(url).port
    loop = asyncio.get_running_loop()
    transport, protocol = await loop.create_connection(_Bare, "127.0.0.1", port)
    transport.write(request())
    await protocol.over
    transport.abort()
    return b"".join(protocol.parts)


async def _floor(url: str, requests: int, lanes: int) -> float:
    plain = b"GET /p HTTP/1.1\r\n" + b"".join(b"%s: %s\r\n" % pair for pair in HEADERS) + b"\r\n"

    async def ask(at: str) -> None:
        assert len(await _bare(at, lambda: plain)) > len(PAGE)

    return await _drive(ask, url, requests, lanes)


async def _floor_h11(url: str, requests: int, lanes: int) -> float:
    async def ask(at: str) -> None:
        wire = h11.Connection(h11.CLIENT)

        def request() -> bytes:
            head = wire.send(h11.Request(method=b"GET", target=b"/p", headers=HEADERS))
            return (head or b"") + (wire.send(h11.EndOfMessage()) or b"")

        wire.receive_data(await _bare(at, request))
        while not isinstance(wire.next_event(), h11.EndOfMessage):
            pass

    return await _drive(ask, url, requests, lanes)


CLIENTS = {
    "fetcher (whole visit)": _fetcher,
    "our transport under httpx": _transport,
    "aiohttp, closed after each": _aiohttp,
    "httpx, shared pool": _shared_pool,
    "httpx, pool, closed after each": _shared_pool_closed,
    "floor: bare asyncio": _floor,
    "floor: bare asyncio + h11": _floor_h11,
}


def main() -> int:
    """Print CPU seconds for 1,000 requests and the two ratios that the goals name."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=1500)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--lanes", type=int, default=50)
    parser.add_argument("--loop", choices=["asyncio", "uvloop"], default="asyncio")
    args = parser.parse_args()
    make = importlib.import_module(args.loop).new_event_loop
    ours, theirs = multiprocessing.Pipe()
    server = multiprocessing.get_context("spawn").Process(target=_server, args=(theirs,))
    server.start()
    url = f"http://127.0.0.1:{ours.recv()}/p"
    found: dict[str, list[float]] = {name: [] for name in CLIENTS}
    try:
        for _ in range(args.rounds):
            for name, client in CLIENTS.items():
                pooled = client in (_shared_pool, _shared_pool_closed)
                count = args.requests // 4 if pooled else args.requests
                with asyncio.Runner(loop_factory=make) as runner:
                    found[name].append(runner.run(client(url, count, args.lanes)))
    finally:
        ours.send(None)
        server.join(10)
    middle = {name: statistics.median(values) for name, values in found.items()}
    there = importlib.util.find_spec("sniffio") is not None
    print(f"loop {args.loop}, sniffio is {'' if there else 'not '}installed")
    for name, seconds in middle.items():
        print(f"{name:30} {seconds:7.3f} CPU s per 1,000 requests")
    mine = middle["fetcher (whole visit)"]
    to_aiohttp = mine / middle["aiohttp, closed after each"]
    to_pool = middle["httpx, shared pool"] / mine
    print(f"fetcher / aiohttp      {to_aiohttp:6.2f}  (goal: at most 3)")
    print(f"shared pool / fetcher  {to_pool:6.2f}  (goal: at least 20)")
    best = middle["httpx, shared pool"] / middle["floor: bare asyncio + h11"]
    print(f"shared pool / floor    {best:6.2f}  (what asyncio and h11 alone would reach)")
    return 0 if to_aiohttp <= 3 and to_pool >= 20 else 1


if __name__ == "__main__":
    sys.exit(main())
