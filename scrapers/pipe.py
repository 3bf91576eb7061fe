"""The bytes of one connection on asyncio: dialled, sent, and read as they come, by a given time.

A plain connection is watched by the loop itself: no transport stands between, which
costs half as much a visit. TLS, and a loop that cannot watch sockets (the usual one
on Windows), take the loop's own transport.
"""

from __future__ import annotations

import asyncio
import errno
import os
import socket
from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, cast

from scrapers.errors import FetchError

if TYPE_CHECKING:
    import ssl
    from types import TracebackType

_HOLD = 128 * 1024  # bytes received and not yet taken, before the sender is held up
_PIECE = 64 * 1024  # bytes taken off a socket at once
NOT_TAKEN = "the host does not take the connection"
_UNDER_WAY = frozenset({errno.EINPROGRESS, errno.EAGAIN, errno.EINTR})
_NOT_NOW = (BlockingIOError, InterruptedError)


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


class Pipe(ABC):
    """What has come of one connection, in order, and the one who waits for more of it."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._held: list[bytes] = []
        self._size = 0
        self._ended = False
        self._error: Exception | None = None
        self._paused = False
        self._waiter: asyncio.Future[None] | None = None
        self._until = 0.0
        self._reason = ""
        self._timer: asyncio.TimerHandle | None = None
        self._set_for = 0.0  # when the timer goes off

    def feed(self, data: bytes) -> None:
        """Bytes have come."""
        self._held.append(data)
        self._size += len(data)
        if self._size > _HOLD and not self._paused:
            self._paused = True
            self._hold_up(held=True)
        self.wake()

    def end(self, error: Exception | None) -> None:
        """No more will come."""
        self._ended = True
        self._error = self._error or error
        self.wake()

    def wake(self) -> None:
        """Let the one who waits look again."""
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    async def read(self, until: float, reason: str) -> bytes:
        """What has come; waits for the first of it. Empty at the end.

        Raises OSError, and FetchError with `reason` at the time `until` of the loop's clock.
        """
        if self._loop.time() >= until:
            raise FetchError(reason)
        if not (self._held or self._ended):
            await self.wait(until, reason)
        if not self._held:
            if self._error is not None:
                raise self._error
            return b""
        data = self._held[0] if len(self._held) == 1 else b"".join(self._held)
        self._held, self._size = [], 0
        if self._paused:
            self._paused = False
            self._hold_up(held=False)
        return data

    async def wait(self, until: float, reason: str) -> None:
        """Until `wake`; FetchError with `reason` at the time `until`.

        One timer serves all waits of a connection: it is set anew only where it would
        go off too late, or has gone off too early.
        """
        self._until, self._reason = until, reason
        if self._timer is None or self._set_for > until:
            self._set_timer()
        waiter = self._waiter = self._loop.create_future()
        try:
            await waiter
        finally:
            self._waiter = None

    def _set_timer(self) -> None:
        self._drop_timer()
        self._set_for = self._until
        self._timer = self._loop.call_at(self._until, self._expire)

    def _drop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _expire(self) -> None:
        self._timer = None
        if self._waiter is None or self._waiter.done():
            return
        if self._until > self._set_for:
            self._set_timer()
        else:
            self._waiter.set_exception(FetchError(self._reason))

    @abstractmethod
    def _hold_up(self, *, held: bool) -> None:
        """Stop the sender, or let it go on."""

    @abstractmethod
    def write(self, data: bytes) -> None:
        """Hand bytes over for sending."""

    @abstractmethod
    def peer(self) -> str | None:
        """The address at the other end."""

    def abort(self) -> None:
        """Close at once: no lingering shutdown."""
        self._drop_timer()


class _SocketPipe(Pipe):
    """Over a socket that the loop watches."""

    def __init__(self, sock: socket.socket) -> None:
        super().__init__()
        self._sock = sock
        self._fd = sock.fileno()  # a loop names an unknown socket at length, a number not
        self._unsent = b""

    async def connect(self, at: tuple[str, int], until: float) -> None:
        """To an address (no name: nothing is looked up here). OSError, FetchError."""
        code = self._sock.connect_ex(at)
        if code in _UNDER_WAY:
            self._loop.add_writer(self._fd, self.wake)
            try:
                await self.wait(until, NOT_TAKEN)
            finally:
                self._loop.remove_writer(self._fd)
            code = self._sock.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if code:
            raise OSError(code, os.strerror(code))

    def give(self) -> socket.socket:
        """The connected socket, for a transport over it."""
        self._drop_timer()
        return self._sock

    def begin(self) -> None:
        """Watch for what comes."""
        self._loop.add_reader(self._fd, self._readable)

    def _readable(self) -> None:
        try:
            data = self._sock.recv(_PIECE)
        except _NOT_NOW:
            return
        except OSError as error:
            self._over(error)
            return
        if data:
            self.feed(data)
        else:
            self._over(None)

    def _over(self, error: OSError | None) -> None:
        self._loop.remove_reader(self._fd)
        self.end(error)

    def _hold_up(self, *, held: bool) -> None:
        if held:
            self._loop.remove_reader(self._fd)
        elif not self._ended:
            self.begin()

    def write(self, data: bytes) -> None:
        if self._unsent:
            self._unsent += data
            return
        self._unsent = data
        self._send()
        if self._unsent:
            self._loop.add_writer(self._fd, self._writable)

    def _send(self) -> None:
        try:
            self._unsent = self._unsent[self._sock.send(self._unsent) :]
        except _NOT_NOW:
            return
        except OSError as error:
            self._unsent = b""
            self._over(error)

    def _writable(self) -> None:
        self._send()
        if not self._unsent:
            self._loop.remove_writer(self._fd)

    def peer(self) -> str | None:
        try:
            return str(self._sock.getpeername()[0])
        except OSError:
            return None

    def abort(self) -> None:
        super().abort()
        if self._sock.fileno() < 0:
            return
        self._loop.remove_reader(self._fd)
        if self._unsent:
            self._loop.remove_writer(self._fd)
        self._sock.close()


class _LoopPipe(Pipe, asyncio.Protocol):
    """Over a transport of the loop."""

    _transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)

    def data_received(self, data: bytes) -> None:
        self.feed(data)

    def eof_received(self) -> None:
        self.end(None)

    def connection_lost(self, exc: Exception | None) -> None:
        self.end(exc)

    def _hold_up(self, *, held: bool) -> None:
        if self._transport is None:
            return
        if held:
            self._transport.pause_reading()
        else:
            self._transport.resume_reading()

    def write(self, data: bytes) -> None:
        if self._transport is not None:
            self._transport.write(data)

    def peer(self) -> str | None:
        name = self._transport.get_extra_info("peername") if self._transport else None
        return str(name[0]) if name else None

    def abort(self) -> None:
        super().abort()
        if self._transport is not None:
            self._transport.abort()


async def dial(
    address: str, port: int, tls: ssl.SSLContext | None, name: str, until: float
) -> Pipe:
    """Connect to an address, with TLS if there is a context; the certificate must be `name`'s.

    Raises OSError (ssl.SSLError is one), and FetchError at the time `until` of the loop's clock.
    """
    loop = asyncio.get_running_loop()
    host = name if tls else None
    if type(loop).add_reader is asyncio.AbstractEventLoop.add_reader:  # it cannot watch sockets
        async with Until(until, NOT_TAKEN):
            return (
                await loop.create_connection(
                    _LoopPipe, address, port, ssl=tls, server_hostname=host
                )
            )[1]
    pipe = await _connected(address, port, until)
    if tls is None:
        pipe.begin()
        return pipe
    async with Until(until, NOT_TAKEN):
        return (
            await loop.create_connection(_LoopPipe, sock=pipe.give(), ssl=tls, server_hostname=host)
        )[1]


async def _connected(address: str, port: int, until: float) -> _SocketPipe:
    sock = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    sock.setblocking(False)
    pipe = _SocketPipe(sock)
    try:
        await pipe.connect((address, port), until)
    except BaseException:
        pipe.abort()
        raise
    return pipe
