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
import httpx

from scrapers.errors import FetchError, GuardError
from scrapers.guard import Limits, Policy, Resolver, Target, parse_url, vet_address
from scrapers.pipe import NOT_TAKEN, Pipe, Until, dial
from scrapers.wire import Exchange

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Sequence

NO_BODY = httpx.ByteStream(b"")  # of a request that has none


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

    `Location` stands in `response.extensions["headers"]` (all that came, raw) and not in
    `response.headers`: httpx would parse it, and fail on a hostile one, even unfollowed.

    A request whose `extensions["vetted"]` is a Target of the guard is a GET of that, with
    the header lines of `extensions["lines"]`; its answer's headers are the raw ones alone.
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
        deadline = request.extensions.get("deadline")
        if deadline is None:
            deadline = asyncio.get_running_loop().time() + self._limits.deadline
        vetted = request.extensions.get("vetted")
        target = vetted or parse_url(str(request.url), self._policy)
        body = b"" if vetted else await _content(request)
        exchange = Exchange(await self._connect(target, deadline), self._limits)
        try:
            if vetted:
                exchange.get(target, request.extensions["lines"])
            else:
                method, path = request.method.encode(), target.path.encode("ascii")
                exchange.send(method, path, request.headers.raw, body)
            status, headers = await exchange.head(deadline)
        except BaseException:
            exchange.close()
            raise
        kept = None if vetted else [pair for pair in headers if pair[0] != b"location"]
        stream, extensions = Body(exchange, deadline), {"headers": headers}
        return httpx.Response(status, headers=kept, stream=stream, extensions=extensions)

    async def _connect(self, target: Target, deadline: float) -> Pipe:
        clock = asyncio.get_running_loop().time
        end = min(deadline, clock() + self._limits.connect)
        addresses = await self._addresses(target, end)
        if len(addresses) == 1:
            return await self._open(target, addresses[0], end)
        failure = FetchError(NOT_TAKEN)
        for left in range(len(addresses), 0, -1):
            share = clock() + (end - clock()) / left
            try:
                return await self._open(target, addresses[-left], share)
            except FetchError as error:
                failure = error
        raise failure

    async def _addresses(self, target: Target, end: float) -> list[str]:
        """All answers vetted; those to try, at most `limits.addresses`, families in turn."""
        if target.literal:
            return [vet_address(target.host, target.host, self._policy)]
        async with Until(end, "the lookup of the host's name takes too long (DNS)"):
            found = await self._resolve(target)
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

    async def _open(self, target: Target, address: str, until: float) -> Pipe:
        context = (self._tls or shared_tls()) if target.scheme == "https" else None
        try:
            pipe = await dial(address, target.port, context, target.host, until)
        except ssl.SSLError as error:
            raise FetchError(_tls_reason(error)) from error
        except OSError as error:
            raise FetchError(NOT_TAKEN) from error
        if not _same(pipe.peer(), address):
            pipe.abort()
            raise GuardError("the connection went to another address than the one vetted")
        return pipe


async def _content(request: httpx.Request) -> bytes:
    try:
        return request.content
    except httpx.RequestNotRead:
        return await request.aread()


class Body(httpx.AsyncByteStream):
    """The raw body; closing it closes the connection."""

    def __init__(self, exchange: Exchange, deadline: float) -> None:
        self._exchange = exchange
        self._deadline = deadline
        self.surplus = exchange.surplus

    async def piece(self) -> bytes:
        """The next piece; empty at the end."""
        return await self._exchange.piece(self._deadline)

    def __aiter__(self) -> AsyncIterator[bytes]:
        return self._exchange.chunks(self._deadline)

    async def aclose(self) -> None:
        self._exchange.close()


def _same(peer: str | None, address: str) -> bool:
    """Whether a peer's address is the one that was vetted, in whatever spelling."""
    if peer is None:
        return False
    return peer == address or ipaddress.ip_address(peer) == ipaddress.ip_address(address)


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
