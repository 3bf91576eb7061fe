"""The outermost layer on the wire: request id, Host, cross-site, body size, headers, 500.

One ASGI middleware, so that no answer leaves without its headers, error pages
and static files included.
"""

from __future__ import annotations

import logging
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any

from starlette.exceptions import HTTPException

from service.web.guard import BODY_LIMIT, HEADERS, from_here, host_allowed
from service.web.problems import problem_answer

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

log = logging.getLogger("ebbmark.web")


@dataclass(frozen=True, slots=True)
class Wire:
    """Checks a request before the application sees it, and dresses every answer."""

    app: App
    hosts: frozenset[str]
    tls: bool = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":  # there are none: whoever asks is not our page
            await send({"type": "websocket.close", "code": 1008})
        elif scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        else:
            await self._http(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        request_id = secrets.token_hex(6)
        scope.setdefault("state", {})["request_id"] = request_id
        dressed = _Dressed(send, request_id, tls=self.tls)
        if refusal := self._refusal(scope):
            await problem_answer(scope, *refusal)(scope, receive, dressed)
            return
        try:
            await self.app(scope, _capped(receive), dressed)
        except Exception:
            log.exception("request %s failed", request_id)
            if not dressed.started:
                await problem_answer(scope, 500, "")(scope, receive, dressed)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = _headers(scope)
        if not host_allowed(headers.get("host"), self.hosts):
            return 421, "This address is not served under that name."
        if not from_here(scope["method"], headers, scope["scheme"]):
            return 403, "A change must come from a page of this service, not from another site."
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > BODY_LIMIT:
            return 413, f"At most {BODY_LIMIT // 1024 // 1024} MiB can be sent at once."
        return None


def _headers(scope: Scope) -> dict[str, str]:
    """Names lower-case; a name sent twice is joined, so that it matches nothing."""
    found: dict[str, str] = {}
    for raw_name, raw_value in scope["headers"]:
        name, value = raw_name.decode("latin-1").lower(), raw_value.decode("latin-1")
        found[name] = f"{found[name]}, {value}" if name in found else value
    return found


def _capped(receive: Receive) -> Receive:
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > BODY_LIMIT:
            raise HTTPException(413, f"At most {BODY_LIMIT // 1024 // 1024} MiB at once.")
        return message

    return counted


class _Dressed:
    """`send` that adds the headers of every answer."""

    def __init__(self, send: Send, request_id: str, *, tls: bool) -> None:
        self.send = send
        self.started = False
        self.extra = [*HEADERS, (b"x-request-id", request_id.encode())]
        if tls:
            self.extra.append((b"strict-transport-security", b"max-age=31536000"))

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            given = {name.lower() for name, _ in message["headers"]}
            added = [pair for pair in self.extra if pair[0] not in given]
            if b"cache-control" not in given:
                added.append((b"cache-control", b"no-store"))
            message["headers"] = [*message["headers"], *added]
        await self.send(message)
