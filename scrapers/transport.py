"""Our own way onto the wire for httpx: vetted and pinned address, raw bounded answers.

One connection a request, never reused: nothing that a server sends after its
answer can become the answer to a later request. The name is resolved once, all
its addresses are vetted, and the connection goes to the vetted address itself,
so an answer of DNS that changes meanwhile changes nothing. TLS still checks the
certificate against the name. No proxy of the environment is ever used.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
import ssl
import threading
from functools import cache
from typing import TYPE_CHECKING

import certifi
import h11
import httpx

from scrapers.errors import BrokenError, FetchError, GuardError
from scrapers.guard import Limits, Policy, Resolver, Target, parse_url, vet_address

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Sequence

READ = 64 * 1024


def guarded_transport(
    policy: Policy,
    *,
    limits: Limits | None = None,
    resolver: Resolver | None = None,
    tls: ssl.SSLContext | None = None,
) -> httpx.AsyncBaseTransport:
    """A transport for `httpx.AsyncClient` whose every request passes the guard.

    Requests raise `GuardError` or `FetchError` instead of httpx's errors. Each is
    bounded by `limits.deadline`, or by `request.extensions["deadline"]` (a time of
    the running loop's clock). `tls`: a context to use instead of the shared one.
    """
    return GuardedTransport(policy, limits or Limits(), resolver or system_resolver, tls)


@cache
def shared_tls() -> ssl.SSLContext:
    """The one TLS context of the process, made on first use (some 20 ms, 0.7 MiB)."""
    context = ssl.create_default_context(cafile=certifi.where())
    context.load_default_certs()
    context.set_alpn_protocols(["http/1.1"])
    return context


async def system_resolver(host: str, port: int) -> Sequence[str]:
    """Ask the system. A thread of its own per question: a slow one holds up no other."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[list[str]] = loop.create_future()

    def settle(result: list[str] | OSError) -> None:
        if answer.done():
            return
        if isinstance(result, OSError):
            answer.set_exception(result)
        else:
            answer.set_result(result)

    def ask() -> None:
        result = _getaddrinfo(host, port)
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
            loop.call_soon_threadsafe(settle, result)

    threading.Thread(target=ask, name="resolve", daemon=True).start()
    return await answer


def _getaddrinfo(host: str, port: int) -> list[str] | OSError:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except OSError as error:
        return error
    except UnicodeError as error:
        return OSError(str(error))
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


class GuardedTransport(httpx.AsyncBaseTransport):
    """See `guarded_transport`."""

    def __init__(
        self, policy: Policy, limits: Limits, resolver: Resolver, tls: ssl.SSLContext | None
    ) -> None:
        self._policy = policy
        self._limits = limits
        self._resolver = resolver
        self._tls = tls

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send one request on a connection of its own; the body is read as it is asked for."""
        target = parse_url(str(request.url), self._policy)
        loop = asyncio.get_running_loop()
        deadline = request.extensions.get("deadline") or loop.time() + self._limits.deadline
        async with _until(deadline, "no whole answer within the time for a visit"):
            exchange = await self._connect(target, deadline)
            try:
                await exchange.send(request)
                return await exchange.response(deadline)
            except BaseException:
                exchange.close()
                raise

    async def _connect(self, target: Target, deadline: float) -> _Exchange:
        addresses = await self._addresses(target)
        loop = asyncio.get_running_loop()
        end = min(deadline, loop.time() + self._limits.connect)
        failure = FetchError("the host has no address")
        for left in range(len(addresses), 0, -1):
            share = loop.time() + (end - loop.time()) / left
            try:
                async with _until(share, "the host does not take the connection"):
                    return await self._open(target, addresses[-left])
            except FetchError as error:
                failure = error
        raise failure

    async def _addresses(self, target: Target) -> list[str]:
        """All answers vetted; those to try, at most `limits.addresses`, families in turn."""
        try:
            literal = str(ipaddress.ip_address(target.host))
        except ValueError:
            found = await self._resolve(target)
        else:
            found = [literal]
        vetted = [vet_address(address, target.host, self._policy) for address in found]
        return _in_turn(vetted)[: self._limits.addresses]

    async def _resolve(self, target: Target) -> Sequence[str]:
        try:
            found = await self._resolver(target.host, target.port)
        except OSError as error:
            raise FetchError("the host's name has no address (DNS)") from error
        if not found:
            raise FetchError("the host's name has no address (DNS)")
        return found

    async def _open(self, target: Target, address: str) -> _Exchange:
        secure = target.scheme == "https"
        try:
            reader, writer = await asyncio.open_connection(
                address,
                target.port,
                ssl=(self._tls or shared_tls()) if secure else None,
                server_hostname=target.host if secure else None,
                limit=READ,
            )
        except ssl.SSLError as error:
            raise FetchError(_tls_reason(error)) from error
        except OSError as error:
            raise FetchError("the host does not take the connection") from error
        exchange = _Exchange(reader, writer, self._limits)
        peer = writer.get_extra_info("peername")
        if peer is None or ipaddress.ip_address(peer[0]) != ipaddress.ip_address(address):
            exchange.close()
            raise GuardError("the connection went to another address than the one vetted")
        return exchange


def _in_turn(addresses: Sequence[str]) -> list[str]:
    """The first of each family first, so that one broken family costs one try (RFC 8305)."""
    unique = list(dict.fromkeys(addresses))
    first = unique[0]
    other = next((a for a in unique if (":" in a) != (":" in first)), None)
    head = [first] if other is None else [first, other]
    return head + [a for a in unique if a not in head]


def _tls_reason(error: ssl.SSLError) -> str:
    """Why TLS failed, in words that say whose fault it may be."""
    if isinstance(error, ssl.SSLCertVerificationError):
        text = error.verify_message
        if "not yet valid" in text:
            return "TLS: the certificate is not yet valid; check this machine's clock"
        return f"TLS: {text}"
    return f"TLS: {(error.reason or 'the handshake failed').replace('_', ' ').lower()}"


@contextlib.asynccontextmanager
async def _until(when: float, reason: str) -> AsyncIterator[None]:
    """End what stands inside at a time of the loop's clock, as a FetchError."""
    try:
        async with asyncio.timeout_at(when):
            yield
    except TimeoutError as error:
        raise FetchError(reason) from error


class _Exchange:
    """One request and its answer on one connection."""

    def __init__(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, limits: Limits
    ) -> None:
        self._reader = reader
        self._writer = writer
        self._limits = limits
        self._protocol = h11.Connection(h11.CLIENT, max_incomplete_event_size=limits.header_bytes)
        self._begun = False  # whether any byte has come

    async def send(self, request: httpx.Request) -> None:
        headers = [(n, v) for n, v in request.headers.raw if n.lower() != b"connection"]
        head = h11.Request(
            method=request.method.encode(),
            target=request.url.raw_path,
            headers=[*headers, (b"Connection", b"close")],
        )
        parts = [self._protocol.send(head)]
        body = await request.aread()
        if body:
            parts.append(self._protocol.send(h11.Data(data=body)))
        parts.append(self._protocol.send(h11.EndOfMessage()))
        with contextlib.suppress(ConnectionError):  # an answer may have come before it broke
            self._writer.write(b"".join(part for part in parts if part))
            await self._writer.drain()

    async def response(self, deadline: float) -> httpx.Response:
        first = asyncio.get_running_loop().time() + self._limits.first_byte
        async with _until(first, "the host does not answer"):
            event = await self._next()
        informational = 0
        while isinstance(event, h11.InformationalResponse):
            informational += 1
            if informational > self._limits.informational:
                raise BrokenError("too many interim answers")
            event = await self._next()
        if not isinstance(event, h11.Response):
            raise BrokenError("the answer has no status line")
        return httpx.Response(
            event.status_code,
            headers=self._headers(event),
            stream=_Body(self, deadline),
            extensions={"surplus": self.surplus},
        )

    def _headers(self, event: h11.Response) -> list[tuple[bytes, bytes]]:
        """The headers less Set-Cookie (no cookie is kept), within the caps."""
        raw = event.headers.raw_items()
        if sum(len(n) + len(v) + 4 for n, v in raw) > self._limits.header_bytes:
            raise BrokenError("the answer's headers are too large")
        kept = [(n, v) for n, v in raw if n.lower() != b"set-cookie"]
        if len(kept) > self._limits.header_count:
            raise BrokenError("the answer has too many headers")
        return kept

    async def chunks(self, deadline: float) -> AsyncIterator[bytes]:
        while True:
            async with _until(deadline, "no whole answer within the time for a visit"):
                event = await self._next()
            if isinstance(event, h11.Data):
                yield bytes(event.data)
            else:
                return

    async def surplus(self, wait: float) -> bool:
        """Whether bytes follow the end of the answer within `wait` seconds."""
        if self._protocol.trailing_data[0]:
            return True
        with contextlib.suppress(TimeoutError, OSError):
            async with asyncio.timeout(wait):
                return bool(await self._reader.read(1))
        return False

    async def _next(self) -> h11.Event:
        """The next event. Raises BrokenError or FetchError for what is no HTTP."""
        try:
            while (event := self._protocol.next_event()) is h11.NEED_DATA:
                await self._receive()
        except h11.RemoteProtocolError as error:
            raise self._protocol_error(error) from error
        if isinstance(event, h11.Event):
            return event
        raise BrokenError("the answer switches to another protocol")

    async def _receive(self) -> None:
        try:
            data = await self._reader.read(READ)
        except (OSError, ssl.SSLError) as error:
            self._break_off(error)
        if not self._begun:
            self._check_start(data)
        self._protocol.receive_data(data)

    def _break_off(self, error: OSError) -> None:
        if self._begun:
            raise BrokenError("the connection broke in the middle of the answer") from error
        raise FetchError("the host broke the connection off") from error

    def _check_start(self, data: bytes) -> None:
        if not data:
            raise FetchError("the host closed the connection without an answer")
        if not b"HTTP/".startswith(data[:5]):
            raise FetchError("what answers there does not speak HTTP/1.1")
        self._begun = True

    def _protocol_error(self, error: h11.RemoteProtocolError) -> FetchError:
        text = str(error)
        if "without sending complete message body" in text or "incomplete" in text:
            return BrokenError("the answer is cut short")
        if "Receive buffer too long" in text:
            return BrokenError("the answer's headers are too large")
        return BrokenError(f"the answer is malformed ({text[:80]})")

    def close(self) -> None:
        """Close at once: no lingering shutdown, nothing of this connection stays."""
        self._writer.transport.abort()


class _Body(httpx.AsyncByteStream):
    """The raw body; closing it closes the connection."""

    def __init__(self, exchange: _Exchange, deadline: float) -> None:
        self.exchange = exchange
        self._deadline = deadline

    def __aiter__(self) -> AsyncIterator[bytes]:
        return self.exchange.chunks(self._deadline)

    async def aclose(self) -> None:
        self.exchange.close()
