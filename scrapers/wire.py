"""One request and its answer on one connection: asyncio below, h11 for the grammar of HTTP/1.1."""

from __future__ import annotations

import asyncio
import errno
import os
import socket
from typing import TYPE_CHECKING, cast

import h11

from scrapers.errors import BrokenError, FetchError

if TYPE_CHECKING:
    import ssl
    from collections.abc import AsyncIterator, Sequence
    from types import TracebackType

    from scrapers.guard import Limits

_HOLD = 128 * 1024  # bytes received and not yet taken, before the sender is held up
TOO_LATE = "no whole answer within the time for a visit"
NOT_TAKEN = "the host does not take the connection"
_UNDER_WAY = frozenset({errno.EINPROGRESS, errno.EAGAIN, errno.EINTR})
_NO_ANSWER = "the host does not answer"

RawHeaders = list[tuple[bytes, bytes]]


class Until:
    """`async with Until(when, reason)`: at that time of the loop's clock a FetchError instead."""

    def __init__(self, when: float, reason: str) -> None:
        self._timeout = asyncio.timeout_at(when)
        self._reason = reason

    async def __aenter__(self) -> None:
        await self._timeout.__aenter__()

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            await self._timeout.__aexit__(kind, error, trace)
        except TimeoutError as late:
            raise FetchError(self._reason) from late


class Pipe(asyncio.Protocol):
    """The bytes of one connection, in the order that they came."""

    def __init__(self) -> None:
        self._held: list[bytes] = []
        self._size = 0
        self._ended = False
        self._error: Exception | None = None
        self._waiter: asyncio.Future[None] | None = None
        self._transport: asyncio.Transport | None = None
        self._paused = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)

    def data_received(self, data: bytes) -> None:
        self._held.append(data)
        self._size += len(data)
        if self._size > _HOLD and not self._paused and self._transport is not None:
            self._paused = True
            self._transport.pause_reading()
        self._wake()

    def eof_received(self) -> None:
        self._ended = True
        self._wake()

    def connection_lost(self, exc: Exception | None) -> None:
        self._ended = True
        self._error = exc
        self._wake()

    def _wake(self) -> None:
        if self._waiter is not None:
            _settle(self._waiter)

    async def read(self, until: float, reason: str) -> bytes:
        """What has come; waits for the first of it. Empty at the end.

        Raises OSError, and FetchError with `reason` at the time `until` of the loop's clock.
        """
        await self._wait(until, reason)
        if not self._held:
            if self._error is not None:
                raise self._error
            return b""
        data = self._held[0] if len(self._held) == 1 else b"".join(self._held)
        self._held, self._size = [], 0
        if self._paused and self._transport is not None:
            self._paused = False
            self._transport.resume_reading()
        return data

    async def _wait(self, until: float, reason: str) -> None:
        """A timer of the wait's own: lighter than a timeout that cancels the task."""
        loop = asyncio.get_running_loop()
        if loop.time() >= until:
            raise FetchError(reason)
        if self._held or self._ended:
            return
        waiter = self._waiter = loop.create_future()
        timer = loop.call_at(until, _expire, waiter, reason)
        try:
            await waiter
        finally:
            timer.cancel()

    def write(self, data: bytes) -> None:
        """Hand bytes over for sending."""
        if self._transport is not None:
            self._transport.write(data)

    def peer(self) -> str | None:
        """The address at the other end."""
        name = self._transport.get_extra_info("peername") if self._transport else None
        return str(name[0]) if name else None

    def abort(self) -> None:
        """Close at once: no lingering shutdown."""
        if self._transport is not None:
            self._transport.abort()


def _expire(waiter: asyncio.Future[None], reason: str) -> None:
    if not waiter.done():
        waiter.set_exception(FetchError(reason))


async def dial(
    address: str, port: int, tls: ssl.SSLContext | None, name: str, until: float
) -> Pipe:
    """Connect to an address, with TLS if there is a context; the certificate must be `name`'s.

    Raises OSError (ssl.SSLError is one), and FetchError at the time `until` of the loop's clock.
    """
    loop = asyncio.get_running_loop()
    sock = await _connected(address, port, until)
    if tls is None:
        return (await loop.create_connection(Pipe, sock=sock))[1]
    async with Until(until, NOT_TAKEN):
        return (await loop.create_connection(Pipe, sock=sock, ssl=tls, server_hostname=name))[1]


async def _connected(address: str, port: int, until: float) -> socket.socket:
    """A socket that is connected to an address (no name: nothing is looked up here)."""
    sock = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    try:
        sock.setblocking(False)
        await _connect(sock, (address, port), until)
    except BaseException:
        sock.close()
        raise
    return sock


async def _connect(sock: socket.socket, at: tuple[str, int], until: float) -> None:
    code = sock.connect_ex(at)
    if code in _UNDER_WAY:
        await _writable(sock, until)
        code = sock.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
    if code:
        raise OSError(code, os.strerror(code))


async def _writable(sock: socket.socket, until: float) -> None:
    loop = asyncio.get_running_loop()
    waiter: asyncio.Future[None] = loop.create_future()
    timer = loop.call_at(until, _expire, waiter, NOT_TAKEN)
    loop.add_writer(sock, _settle, waiter)
    try:
        await waiter
    finally:
        loop.remove_writer(sock)
        timer.cancel()


def _settle(waiter: asyncio.Future[None]) -> None:
    if not waiter.done():
        waiter.set_result(None)


class Exchange:
    """One request and its answer. Every fault is a FetchError that says which."""

    def __init__(self, pipe: Pipe, limits: Limits) -> None:
        self._pipe = pipe
        self._limits = limits
        self._protocol = h11.Connection(h11.CLIENT, max_incomplete_event_size=limits.header_bytes)
        self._begun = False  # whether any byte has come

    def send(
        self, method: bytes, target: bytes, headers: Sequence[tuple[bytes, bytes]], body: bytes
    ) -> None:
        """Send the whole request; the connection is closed after its answer."""
        kept = [(n, v) for n, v in headers if n.lower() != b"connection"]
        kept.append((b"Connection", b"close"))
        send = self._protocol.send
        parts = [send(h11.Request(method=method, target=target, headers=kept))]
        if body:
            parts.append(send(h11.Data(data=body)))
        parts.append(send(h11.EndOfMessage()))
        self._pipe.write(b"".join(part for part in parts if part))

    async def head(self, deadline: float) -> tuple[int, RawHeaders]:
        """Status and headers of the answer, less Set-Cookie: no cookie is kept."""
        first = asyncio.get_running_loop().time() + self._limits.first_byte
        until, late = (first, _NO_ANSWER) if first < deadline else (deadline, TOO_LATE)
        await self._receive(until, late)
        event = await self._next(until, late)
        informational = 0
        while isinstance(event, h11.InformationalResponse):
            informational += 1
            if informational > self._limits.informational:
                raise BrokenError("too many interim answers")
            event = await self._next(until, late)
        if not isinstance(event, h11.Response):
            raise BrokenError("the answer has no status line")
        return event.status_code, self._within_caps(event.headers.raw_items())

    def _within_caps(self, raw: Sequence[tuple[bytes, bytes]]) -> RawHeaders:
        if sum(len(n) + len(v) + 4 for n, v in raw) > self._limits.header_bytes:
            raise BrokenError("the answer's headers are too large")
        kept = [(n, v) for n, v in raw if n.lower() != b"set-cookie"]
        if len(kept) > self._limits.header_count:
            raise BrokenError("the answer has too many headers")
        return kept

    async def chunks(self, deadline: float) -> AsyncIterator[bytes]:
        """The body as it comes, content encoding still on."""
        while True:
            event = await self._next(deadline, TOO_LATE)
            if not isinstance(event, h11.Data):
                return
            yield bytes(event.data)

    async def surplus(self, wait: float) -> bool:
        """Whether bytes follow the end of the answer within `wait` seconds."""
        if self._protocol.trailing_data[0]:
            return True
        until = asyncio.get_running_loop().time() + wait
        try:
            return bool(await self._pipe.read(until, TOO_LATE))
        except (FetchError, OSError):
            return False

    async def _next(self, until: float, late: str) -> h11.Event:
        while (event := self._event()) is None:
            await self._receive(until, late)
        return event

    def _event(self) -> h11.Event | None:
        """The next event; None where more bytes are needed for it."""
        try:
            event = self._protocol.next_event()
        except h11.RemoteProtocolError as error:
            raise _fault(error) from error
        if event is h11.NEED_DATA:
            return None
        if isinstance(event, h11.Event):
            return event
        raise BrokenError("the answer switches to another protocol")

    async def _receive(self, until: float, late: str) -> None:
        try:
            data = await self._pipe.read(until, late)
        except OSError as error:
            if self._begun:
                raise BrokenError("the connection broke in the middle of the answer") from error
            raise FetchError("the host broke the connection off") from error
        if not self._begun:
            self._check_start(data)
        self._protocol.receive_data(data)

    def _check_start(self, data: bytes) -> None:
        if not data:
            raise FetchError("the host closed the connection without an answer")
        if not b"HTTP/".startswith(data[:5]):
            raise FetchError("what answers there does not speak HTTP/1.1")
        self._begun = True

    def close(self) -> None:
        """Nothing of this connection stays."""
        self._pipe.abort()


def _fault(error: h11.RemoteProtocolError) -> BrokenError:
    text = str(error)
    if "without sending complete message body" in text or "incomplete" in text:
        return BrokenError("the answer is cut short")
    if "Receive buffer too long" in text:
        return BrokenError("the answer's headers are too large")
    return BrokenError(f"the answer is malformed ({text[:80]})")
