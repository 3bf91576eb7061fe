"""One request and its answer on one connection: h11 for the grammar of HTTP/1.1.

A body that is sent with its length needs no grammar: it is counted here, piece by
piece as it comes, and never passes through h11's buffer.
"""

from __future__ import annotations

import asyncio
import re
from typing import TYPE_CHECKING

import h11

from scrapers.errors import BrokenError, FetchError

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Sequence

    from scrapers.guard import Limits, Target
    from scrapers.pipe import Pipe

TOO_LATE = "no whole answer within the time for a visit"
_NO_ANSWER = "the host does not answer"
_END = h11.EndOfMessage()
_SOME_GET = h11.Request(method=b"GET", target=b"/", headers=[(b"Host", b"h")])
_HEAD = re.compile(  # RFC 9110 section 5.1 and 5.5: tokens, and values without controls
    rb"GET [\x21-\x7e]+ HTTP/1\.1\r\n"
    rb"(?:[A-Za-z0-9!#$%&'*+.^_`|~-]+: [\x20-\x7e\x80-\xff\t]*\r\n)+\r\n"
)
_NO_BODY = frozenset({204, 304})

RawHeaders = list[tuple[bytes, bytes]]


class Exchange:
    """One request and its answer. Every fault is a FetchError that says which."""

    def __init__(self, pipe: Pipe, limits: Limits) -> None:
        self._pipe = pipe
        self._limits = limits
        self._protocol = h11.Connection(h11.CLIENT, max_incomplete_event_size=limits.header_bytes)
        self._begun = False  # whether any byte has come
        self._bodiless = False  # whether the answer to such a request has no body
        self._left: int | None = None  # of the body, where its length was said
        self._rest = b""  # what came behind the head and h11 was not given yet
        self._surplus = False

    def send(
        self, method: bytes, target: bytes, headers: Sequence[tuple[bytes, bytes]], body: bytes
    ) -> None:
        """Send the whole request; the connection is closed after its answer."""
        kept = [(n, v) for n, v in headers if n.lower() != b"connection"]
        kept.append((b"Connection", b"close"))
        send = self._protocol.send
        self._bodiless = method == b"HEAD"
        data = send(h11.Request(method=method, target=target, headers=kept)) or b""
        if body:
            data += send(h11.Data(data=body)) or b""
        self._pipe.write(data + (send(_END) or b""))

    def get(self, target: Target, lines: bytes) -> None:
        """Send a GET with these header lines, each with its end. ValueError: they are none.

        The same bytes as `send` would make: h11 is told of a request, not asked to write it.
        """
        head = b"GET %s HTTP/1.1\r\nHost: %s\r\n%sConnection: close\r\n\r\n"
        data = head % (target.path.encode("ascii"), target.netloc.encode("ascii"), lines)
        if not _HEAD.fullmatch(data):
            raise ValueError("the request's headers hold what no header may")
        self._protocol.send(_SOME_GET)
        self._pipe.write(data)

    async def head(self, deadline: float) -> tuple[int, RawHeaders]:
        """Status and headers of the answer, by lower-case name.

        Less Set-Cookie: no cookie is kept.
        """
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
        headers = list(event.headers)
        self._left = 0 if self._bodiless else _length(event.status_code, headers)
        if self._left:
            self._rest = self._protocol.trailing_data[0] + self._rest
        return event.status_code, self._within_caps(headers)

    def _within_caps(self, headers: RawHeaders) -> RawHeaders:
        if sum([len(n) + len(v) + 4 for n, v in headers]) > self._limits.header_bytes:
            raise BrokenError("the answer's headers are too large")
        kept = [pair for pair in headers if pair[0] != b"set-cookie"]
        if len(kept) > self._limits.header_count:
            raise BrokenError("the answer has too many headers")
        return kept

    async def piece(self, deadline: float) -> bytes:
        """The next piece of the body, content encoding still on; empty at its end."""
        if self._left is None:
            return await self._framed(deadline)
        if not self._left:
            return b""
        data = self._rest or await self._more(deadline)
        self._rest = b""
        if len(data) > self._left:
            data, self._surplus = data[: self._left], True
        self._left -= len(data)
        return data

    async def _framed(self, deadline: float) -> bytes:
        while isinstance(event := await self._next(deadline, TOO_LATE), h11.Data):
            if event.data:
                return bytes(event.data)
        return b""

    async def chunks(self, deadline: float) -> AsyncIterator[bytes]:
        """The body piece by piece, as httpx reads it."""
        while piece := await self.piece(deadline):
            yield piece

    async def surplus(self, wait: float) -> bool:
        """Whether bytes follow the end of the answer within `wait` seconds."""
        if self._surplus:
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

    async def _more(self, deadline: float) -> bytes:
        """More of a body whose length was said."""
        data = await self._read(deadline, TOO_LATE)
        if not data:
            raise BrokenError("the answer is cut short")
        return data

    async def _receive(self, until: float, late: str) -> None:
        """More for h11; of the first bytes that come only the head, as far as it shows."""
        if self._rest:
            data, self._rest = self._rest, b""
        else:
            data = await self._read(until, late)
        if not self._begun:
            self._check_start(data)
            end = data.find(b"\r\n\r\n") + 4
            if end > 3:
                data, self._rest = data[:end], data[end:]
        self._protocol.receive_data(data)

    async def _read(self, until: float, late: str) -> bytes:
        try:
            return await self._pipe.read(until, late)
        except OSError as error:
            if self._begun:
                raise BrokenError("the connection broke in the middle of the answer") from error
            raise FetchError("the host broke the connection off") from error

    def _check_start(self, data: bytes) -> None:
        if not data:
            raise FetchError("the host closed the connection without an answer")
        if not b"HTTP/".startswith(data[:5]):
            raise FetchError("what answers there does not speak HTTP/1.1")
        self._begun = True

    def close(self) -> None:
        """Nothing of this connection stays."""
        self._pipe.abort()


def _length(status: int, headers: RawHeaders) -> int | None:
    """The length that the body was said to have (h11 has seen to it that it is one number).

    None where it is framed otherwise (RFC 9112 section 6.3).
    """
    if status in _NO_BODY:
        return 0
    said = None
    for name, value in headers:
        if name == b"transfer-encoding":
            return None
        if name == b"content-length":
            said = int(value)
    return said


def _fault(error: h11.RemoteProtocolError) -> BrokenError:
    text = str(error)
    if "without sending complete message body" in text or "incomplete" in text:
        return BrokenError("the answer is cut short")
    if "Receive buffer too long" in text:
        return BrokenError("the answer's headers are too large")
    return BrokenError(f"the answer is malformed ({text[:80]})")
