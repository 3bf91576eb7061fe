"""A thousand shops on loopback for the load run, their log, and the verdict that is read from it.

Every host is an address 127.1.x.y with one socket. What a host answers is fixed
by its number and the path, so that a run can be told over again. The log has one
row a request: host, path kind, start, end (monotonic seconds of this process),
status, the Retry-After that was sent. The verdict knows nothing of the client.
"""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import hashlib
import itertools
import json
import time
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from pathlib import Path

PORT = 18080
BUSY = 0  # the host that is overloaded: slow at every answer


@dataclass(frozen=True)
class Plan:
    """Scaled times of a run, seconds."""

    hosts: int = 1000
    gap: float = 0.2
    slow: float = 1.0  # of a slow answer
    never: float = 30.0  # of one that is not given
    retry_after: int = 1
    busy: bool = True  # one host is overloaded


def address_of(host: int) -> str:
    return f"127.1.{host // 250}.{host % 250 + 1}"


def has_rules(host: int) -> bool:
    """One host in ten has no robots.txt."""
    return host % 10 != 3


def kind_of(host: int, listing: int, turn: int, *, busy: bool = True) -> str:
    """85 % fine, 5 % slow, 3 % never, 3 % 429, 2 % 5xx, 1 % bombs, 1 % broken."""
    if host == BUSY and busy:
        return "slow"
    draw = hashlib.blake2b(f"{host}/{listing}/{turn}".encode(), digest_size=4).digest()
    n = int.from_bytes(draw) % 100
    for limit, kind in (
        (85, "ok"),
        (90, "slow"),
        (93, "never"),
        (96, "429"),
        (98, "500"),
        (99, "bomb"),
    ):
        if n < limit:
            return kind
    return "cut"


def page_of(host: int, listing: int, turn: int) -> bytes:
    price = f"{5 + (host * 7 + listing * 13) % 900}.{(turn // 8) % 10}0"
    name = f"Part {listing} of shop {host}"
    data = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": name,
        "sku": f"S{host}-{listing}",
        "offers": {
            "@type": "Offer",
            "price": price,
            "priceCurrency": "EUR",
            "availability": "https://schema.org/InStock",
        },
    }
    filler = "<li><a href='/c/7'>Sheet, cloth, resin, tube</a></li>" * 120
    return (
        f"<!doctype html><html lang='en'><head><meta charset='utf-8'><title>{name}</title>"
        f"<script type='application/ld+json'>{json.dumps(data)}</script></head><body>"
        f"<nav><ul>{filler}</ul></nav><h1>{name}</h1><p class='price'>{price} €</p>"
        f"<p>In stock</p><button>Add to cart</button></body></html>"
    ).encode()


class Shops:
    """The servers, and what they saw."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.log: list[tuple[int, str, float, float, int, int]] = []
        self._turns: dict[tuple[int, int], int] = defaultdict(int)

    async def start(self) -> None:
        for host in range(self.plan.hosts):
            await asyncio.start_server(
                lambda r, w, host=host: self._handle(host, r, w),
                address_of(host),
                PORT,
                backlog=16,
            )

    async def _handle(
        self, host: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        path, status, wait = "?", 0, 0
        start = time.monotonic()
        try:
            head = await reader.readuntil(b"\r\n\r\n")
            start = time.monotonic()
            path = head.split(b" ", 2)[1].decode()
            status, wait, data, pause = self._answer(host, path)
            if pause:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(reader.read(1), pause)  # ends when the client gives up
            if data:
                writer.write(data)
                await writer.drain()
        except (ConnectionError, asyncio.IncompleteReadError):
            pass
        finally:
            self.log.append((host, path, start, time.monotonic(), status, wait))
            writer.close()

    def _answer(self, host: int, path: str) -> tuple[int, int, bytes, float]:
        """Status, Retry-After, bytes, seconds to wait before them."""
        if path == "/robots.txt":
            body = b"User-agent: *\nDisallow: /private/\nCrawl-delay: 0.1\n"
            if not has_rules(host):
                return 404, 0, _answer("404 Not Found", b""), 0
            return 200, 0, _answer("200 OK", body), 0
        listing = int(path.rsplit("/", 1)[1])
        turn = self._turns[host, listing]
        self._turns[host, listing] += 1
        plan, page = self.plan, page_of(host, listing, turn)
        whole = _answer("200 OK", page)
        after = f"Retry-After: {plan.retry_after}"
        return {
            "429": (429, plan.retry_after, _answer("429 Too Many Requests", b"", after), 0),
            "500": (500, 0, _answer("500 Internal Server Error", b""), 0),
            "never": (0, 0, b"", plan.never),
            "bomb": (200, 0, BOMB, 0),
            "cut": (200, 0, whole[:-200], 0),
            "slow": (200, 0, whole, plan.slow),
            "ok": (200, 0, whole, 0),
        }[kind_of(host, listing, turn, busy=plan.busy)]


def _answer(status: str, body: bytes, *headers: str) -> bytes:
    lines = [f"HTTP/1.1 {status}", "Content-Type: text/html; charset=utf-8", *headers]
    lines += [f"Content-Length: {len(body)}", "Connection: close"]
    return "\r\n".join(lines).encode() + b"\r\n\r\n" + body


BOMB = _answer("200 OK", gzip.compress(bytes(64 * 1024 * 1024), 9), "Content-Encoding: gzip")


async def _run(plan: Plan, pipe: Connection, log: Path) -> None:
    shops = Shops(plan)
    await shops.start()
    pipe.send("ready")
    await asyncio.get_running_loop().run_in_executor(None, pipe.recv)
    await asyncio.to_thread(log.write_text, "\n".join(json.dumps(row) for row in shops.log))
    pipe.send("written")


def serve(plan: Plan, pipe: Connection, log: Path) -> None:
    """Entry of the server's own process."""
    asyncio.run(_run(plan, pipe, log))


@dataclass(frozen=True)
class Verdict:
    """Counts of what the log shows. `smallest`: the least gap between visits over the one due."""

    requests: int
    visits: int
    in_flight: int
    gap: int
    retry_after: int
    robots: int
    smallest: float

    @property
    def violations(self) -> int:
        return self.in_flight + self.gap + self.retry_after + self.robots


def verdict(rows: list[tuple[int, str, float, float, int, int]], plan: Plan) -> Verdict:
    """Judge a log. A visit is a page request, with the robots.txt asked for just before it."""
    by_host: dict[int, list[tuple[int, str, float, float, int, int]]] = defaultdict(list)
    for row in rows:
        by_host[row[0]].append(row)
    found = defaultdict(int)
    smallest = float("inf")
    for asked in by_host.values():
        asked.sort(key=lambda row: row[2])
        for before, after in itertools.pairwise(asked):
            pause = after[2] - before[3]
            found["in_flight"] += pause < 0
            if before[1] == "/robots.txt":
                continue  # the page of the same visit
            smallest = min(smallest, pause / plan.gap)
            found["gap"] += pause < plan.gap
            found["retry_after"] += before[5] > 0 and pause < before[5]
    found["robots"] = sum(row[1].startswith("/private/") and has_rules(row[0]) for row in rows)
    visits = sum(row[1] != "/robots.txt" for row in rows)
    return Verdict(
        len(rows), visits, found["in_flight"], found["gap"], found["retry_after"],
        found["robots"], smallest,
    )  # fmt: skip
