"""One GET: its request out, its answer in, within the limits. Knows no robots and no redirects."""

from __future__ import annotations

import asyncio
import contextlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from scrapers.errors import BrokenError, FetchError, TooLargeError
from scrapers.inflate import PlainBody, body_for

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Mapping

    import httpx

    from scrapers.guard import Limits, Target

_PEEK_TIME = 2.0  # seconds for the body of an error page
_SURPLUS_TIME = 0.25  # seconds to wait for bytes after a body that does not look whole
_WHOLE = re.compile(rb"</html\s*>\s*(?:<!--.*?-->\s*)*\Z", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Answer:
    """What one request brought; `body` where it was wanted, content encoding undone.

    `complete`: nothing says that the body was cut; False where it had no length
    and does not end like a whole document.
    """

    target: Target
    status: int
    headers: httpx.Headers
    body: bytes = b""
    complete: bool = True

    def location(self) -> bytes:
        """The redirect's address as it came. Raises BrokenError where there is none."""
        found = [value for name, value in self.headers.raw if name.lower() == b"location"]
        if len(found) != 1 or not found[0].strip():
            raise BrokenError("a redirect that does not say where to")
        return found[0]


@dataclass(frozen=True, slots=True)
class Want:
    """How much of a body is wanted: `cut` keeps the first `decoded` bytes and lets the rest go."""

    decoded: int
    wire: int
    cut: bool = False
    seconds: float | None = None


class Asker:
    """Sends GETs through a client that stands on the guarded transport."""

    def __init__(self, client: httpx.AsyncClient, limits: Limits) -> None:
        self._client = client
        self._limits = limits

    async def robots(self, target: Target, deadline: float) -> Answer:
        """A robots.txt: of a large one the first part."""
        limit = self._limits.robots
        want = Want(limit, limit * 2, cut=True)
        return await self._get(target, {}, deadline, {200: want})

    async def page(self, target: Target, conditions: Mapping[str, str], deadline: float) -> Answer:
        """A page; of an overload page the beginning, of all other answers no body."""
        whole = Want(self._limits.decoded, self._limits.wire)
        peek = Want(64 * 1024, 64 * 1024, cut=True, seconds=_PEEK_TIME)
        wanted = {200: whole, 203: whole, 503: peek}
        return await self._get(target, conditions, deadline, wanted)

    async def _get(
        self,
        target: Target,
        headers: Mapping[str, str],
        deadline: float,
        wanted: Mapping[int, Want],
    ) -> Answer:
        request = self._client.build_request(
            "GET", target.url, headers=headers, extensions={"deadline": deadline}
        )
        response = await self._client.send(request, stream=True)
        try:
            want = wanted.get(response.status_code)
            if want is None:
                return Answer(target, response.status_code, response.headers)
            if want.cut:
                body, complete = await _beginning(response, want), False
            else:
                body, complete = await _whole(response, want)
            return Answer(target, response.status_code, response.headers, body, complete)
        finally:
            await response.aclose()


async def _beginning(response: httpx.Response, want: Want) -> bytes:
    """The first part of a body. A fault after it does not matter, one within it does."""
    body = body_for(response.headers.get("content-encoding", ""), want.decoded)
    try:
        async with asyncio.timeout(want.seconds):
            await _collect(response, body, want)
            return body.finish()
    except TooLargeError:
        return body.so_far()[: want.decoded]
    except (FetchError, TimeoutError):
        if want.seconds is None:
            raise
        return body.so_far()


async def _whole(response: httpx.Response, want: Want) -> tuple[bytes, bool]:
    """A body to its end, and whether it is known to be whole."""
    headers = response.headers
    _check_length(headers.get("content-length", ""), want.wire)
    encoding = headers.get("content-encoding", "")
    body = body_for(encoding, want.decoded)
    await _collect(response, body, want)
    data = body.finish()
    if type(body) is not PlainBody or looks_whole(data):
        return data, True  # a gzip trailer proves the end
    if "transfer-encoding" in headers:
        return data, True
    if "content-length" not in headers:
        return data, False
    if await response.extensions["surplus"](_SURPLUS_TIME):
        raise BrokenError("the page is longer than the length it was sent with")
    return data, True


async def _collect(response: httpx.Response, body: PlainBody, want: Want) -> None:
    received = 0
    stream = cast("AsyncGenerator[bytes]", response.aiter_raw())
    async with contextlib.aclosing(stream) as chunks:
        async for chunk in chunks:
            received += len(chunk)
            if received > want.wire:
                raise TooLargeError(f"the answer is larger than {want.wire // 1024} KiB")
            body.feed(chunk)


def _check_length(declared: str, limit: int) -> None:
    if declared.isascii() and declared.isdigit() and int(declared) > limit:
        raise TooLargeError(f"the answer says that it is larger than {limit // 1024} KiB")


def looks_whole(body: bytes) -> bool:
    """Whether a body ends like a whole document: `</html>`, or a closed JSON value."""
    if _WHOLE.search(body[-4096:]):
        return True
    inner = body.strip()
    return (inner[:1], inner[-1:]) in {(b"{", b"}"), (b"[", b"]")}
