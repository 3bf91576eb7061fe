"""One GET: its request out, its answer in, within the limits. Knows no robots and no redirects."""

from __future__ import annotations

import asyncio
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, cast

import httpx

from scrapers.errors import BrokenError, FetchError, TooLargeError
from scrapers.inflate import PlainBody, body_for
from scrapers.transport import NO_BODY, Body

if TYPE_CHECKING:
    from collections.abc import Mapping

    from scrapers.guard import Limits, Target

_PEEK = 64 * 1024  # of an error page
_PEEK_TIME = 2.0  # seconds for it
_VALUE = re.compile(r"[\t\x20-\x7e\x80-\xff]*")  # RFC 9110 section 5.5
_SURPLUS_TIME = 0.25  # seconds to wait for bytes after a body that does not look whole


@dataclass(frozen=True, slots=True)
class Answer:
    """What one request brought; `body` where it was wanted, content encoding undone.

    `headers` by lower-case name. `complete`: nothing says that the body was cut;
    False where it had no length and does not end like a whole document.
    """

    target: Target
    status: int
    headers: Mapping[str, str]
    location: tuple[bytes, ...] = ()
    body: bytes = b""
    complete: bool = True


class Client(httpx.AsyncClient):
    """httpx without a memory: no cookies, no environment, no redirects of its own."""

    def __init__(self, transport: httpx.AsyncBaseTransport, headers: Mapping[str, str]) -> None:
        super().__init__(
            transport=transport, trust_env=False, follow_redirects=False, headers=headers
        )
        self._bottom = transport
        self._always = _lines(headers)
        self._shown = httpx.Headers(headers)

    def get_request(
        self, target: Target, headers: Mapping[str, str], deadline: float
    ) -> httpx.Request:
        """A GET of a URL that is already vetted, with nothing left for httpx to work out.

        Its `url` is only the origin: what is sent is the vetted target itself, in the
        spelling of the guard, and no second parser may read it otherwise.
        """
        lines = self._always + _lines(headers) if headers else self._always
        extensions = {"vetted": target, "lines": lines, "deadline": deadline}
        url = _origin(target.scheme, target.netloc)
        return httpx.Request("GET", url, headers=self._shown, stream=NO_BODY, extensions=extensions)

    async def send(self, request: httpx.Request, **_: Any) -> httpx.Response:
        """Past sign-in, redirects and cookies, none of which a visit may have."""
        return await self._bottom.handle_async_request(request)


@lru_cache(maxsize=1024)
def _origin(scheme: str, netloc: str) -> httpx.URL:
    return httpx.URL(f"{scheme}://{netloc}/")


def _lines(headers: Mapping[str, str]) -> bytes:
    """Each as a line of its own. ValueError: a value that would be more than one."""
    for name, value in headers.items():
        if not _VALUE.fullmatch(value):
            raise ValueError(f"{name} holds what no header may: {value!r}")
    return "".join([f"{name}: {value}\r\n" for name, value in headers.items()]).encode("latin-1")


@dataclass(frozen=True, slots=True)
class Want:
    """How much of a body is wanted: `cut` keeps the first `decoded` bytes and lets the rest go."""

    decoded: int
    wire: int
    cut: bool = False
    seconds: float | None = None


class Asker:
    """Sends GETs through a client that stands on the guarded transport."""

    def __init__(self, client: Client, limits: Limits) -> None:
        self._client = client
        self._limits = limits
        whole = Want(limits.decoded, limits.wire)
        peek = Want(_PEEK, _PEEK, cut=True, seconds=_PEEK_TIME)
        self._of_page = {200: whole, 203: whole, 503: peek}
        self._of_robots = {200: Want(limits.robots, limits.robots * 2, cut=True)}

    async def robots(self, target: Target, deadline: float) -> Answer:
        """A robots.txt: of a large one the first part."""
        return await self._get(target, {}, deadline, self._of_robots)

    async def page(self, target: Target, conditions: Mapping[str, str], deadline: float) -> Answer:
        """A page; of an overload page the beginning, of all other answers no body."""
        return await self._get(target, conditions, deadline, self._of_page)

    async def _get(
        self,
        target: Target,
        conditions: Mapping[str, str],
        deadline: float,
        wanted: Mapping[int, Want],
    ) -> Answer:
        request = self._client.get_request(target, conditions, deadline)
        response = await self._client.send(request)
        try:
            return await _taken(target, response, wanted.get(response.status_code))
        finally:
            await _stream(response).aclose()


def _stream(response: httpx.Response) -> Body:
    """The body as our transport gives it, past the layers that count and decode."""
    return cast("Body", response.stream)


async def _taken(target: Target, response: httpx.Response, want: Want | None) -> Answer:
    raw: list[tuple[bytes, bytes]] = response.extensions["headers"]
    headers: dict[str, str] = {}
    location: tuple[bytes, ...] = ()
    for raw_name, raw_value in raw:
        name, value = raw_name.decode("ascii"), raw_value.decode("latin-1")
        if name == "location":
            location += (raw_value,)
        else:
            headers[name] = f"{headers[name]}, {value}" if name in headers else value
    body, complete = b"", True
    if want is not None and want.cut:
        body, complete = await _beginning(response, headers, want), False
    elif want is not None:
        body, complete = await _whole(response, headers, want)
    return Answer(target, response.status_code, headers, location, body, complete)


async def _beginning(response: httpx.Response, headers: Mapping[str, str], want: Want) -> bytes:
    """The first part of a body. A fault after it does not matter, one within it does."""
    body = body_for(headers.get("content-encoding", ""), want.decoded)
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


async def _whole(
    response: httpx.Response, headers: Mapping[str, str], want: Want
) -> tuple[bytes, bool]:
    """A body to its end, and whether it is known to be whole."""
    _check_length(headers.get("content-length", ""), want.wire)
    body = body_for(headers.get("content-encoding", ""), want.decoded)
    await _collect(response, body, want)
    data = body.finish()
    if type(body) is not PlainBody or looks_whole(data):
        return data, True  # a gzip trailer proves the end
    if "transfer-encoding" in headers:
        return data, True
    if "content-length" not in headers:
        return data, False
    if await _stream(response).surplus(_SURPLUS_TIME):
        raise BrokenError("the page is longer than the length it was sent with")
    return data, True


async def _collect(response: httpx.Response, body: PlainBody, want: Want) -> None:
    received, stream = 0, _stream(response)
    while chunk := await stream.piece():
        received += len(chunk)
        if received > want.wire:
            raise TooLargeError(f"the answer is larger than {want.wire // 1024} KiB")
        body.feed(chunk)


def _check_length(declared: str, limit: int) -> None:
    if declared.isascii() and declared.isdigit() and int(declared) > limit:
        raise TooLargeError(f"the answer says that it is larger than {limit // 1024} KiB")


def looks_whole(body: bytes) -> bool:
    """Whether a body ends like a whole document: `</html>` near its end, or a closed JSON value."""
    if b"</html" in body[-32:] or b"</html" in body[-4096:].lower():
        return True
    inner = body.strip()
    return (inner[:1], inner[-1:]) in {(b"{", b"}"), (b"[", b"]")}
