"""Shared by the fetch tests and benches: a dial without sockets, a fetcher, a fixed clock."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scrapers import Fetcher, Policy
from scrapers.model import RobotsCopy, Visited, VisitRequest

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

DATA = Path(__file__).parent / "scrapers" / "fetch" / "data"
AGENT = "Ebbmark/0.1 (+mailto:someone@club.example)"
NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
ALLOW = RobotsCopy("allow", "", NOW)
PAGE = b"<html><title>Tube</title><p>7.90 EUR</p></html>"


def clock() -> datetime:
    return NOW


def answer(body: bytes = PAGE, status: str = "200 OK", **headers: str) -> bytes:
    """A whole HTTP/1.1 answer; header names with `_` for `-`."""
    lines = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}"]
    lines += [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
    return "\r\n".join(lines).encode() + b"\r\n\r\n" + body


class _Pipe:
    """Answers a request with what `reply(host, path)` gives; says it is connected as asked."""

    def __init__(self, address: str, wire: Wire) -> None:
        self._address = address
        self._wire = wire
        self._held = b""

    def write(self, data: bytes) -> None:
        self._wire.sent.append(data)
        path = data.split(b" ", 2)[1].decode()
        name = data.partition(b"\r\nHost: ")[2].partition(b"\r\n")[0].decode()
        self._held = self._wire.reply(name, path)

    async def read(self, _until: float, _reason: str) -> bytes:
        data, self._held = self._held, b""
        return data

    def peer(self) -> str:
        return self._address

    def abort(self) -> None:
        self._held = b""


class Wire:
    """Stands in for `scrapers.pipe.dial`: records who is dialled, opens no socket."""

    def __init__(self, reply: Callable[[str, str], bytes]) -> None:
        self.reply = reply
        self.dialled: list[tuple[str, int]] = []
        self.sent: list[bytes] = []

    async def __call__(self, address: str, port: int, *_: Any) -> Any:
        self.dialled.append((address, port))
        return _Pipe(address, self)


def visit(
    request: VisitRequest | str,
    *,
    resolver: Callable[[str, int], Any] | None = None,
    policy: Policy | None = None,
    **options: Any,
) -> Visited:
    """One visit by a fetcher of its own."""

    async def run() -> Visited:
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=policy or Policy(),
            clock=clock,
            resolver=resolver,
            **options,
        )
        try:
            return await fetcher.visit(
                VisitRequest(request) if isinstance(request, str) else request
            )
        finally:
            await fetcher.aclose()

    return asyncio.run(run())


def resolver_of(answers: dict[str, Sequence[str]]) -> Callable[[str, int], Any]:
    """Names answer as given, all others with an error."""

    async def resolve(host: str, _port: int) -> Sequence[str]:
        if host not in answers:
            raise OSError(f"no such name: {host}")
        return answers[host]

    return resolve
