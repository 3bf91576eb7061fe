"""Which role a route needs, and the check that every route goes through.

The rule goes by method and path, so a new route is never without one.
"""

from __future__ import annotations

import time
from collections import defaultdict, deque
from typing import Annotated, Any, cast

from fastapi import Depends, Request
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.accounts import Accounts, Role
from service.web.guard import SAFE_METHODS
from service.web.sessions import Session, Sessions

OPEN = ("/static/", "/login", "/healthz", "/readyz", "/manifest.webmanifest")
ADMIN = ("/settings", "/api/settings", "/api/users")
OWN = ("/logout", "/password")
WRITES, PER = 60, 60.0  # writes of a session in so many seconds


def needed_role(method: str, path: str) -> Role:
    """Viewer to look, editor to change, admin for settings and users."""
    if path.startswith(OPEN):
        return Role.NOBODY
    if path.startswith(ADMIN):
        return Role.ADMIN
    if path in OWN or method in SAFE_METHODS:
        return Role.VIEWER
    return Role.EDITOR


class SessionLayer:
    """Finds the session of a request and hands a fresh cookie to a browser."""

    def __init__(self, app: ASGIApp, sessions: Sessions, *, tls: bool) -> None:
        self.app = app
        self.sessions = sessions
        self.cookie = "__Host-ebbmark" if tls else "ebbmark"
        self.flags = "; Path=/; HttpOnly; SameSite=Lax" + ("; Secure" if tls else "")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith("/static/"):
            await self.app(scope, receive, send)
            return
        cookies = Request(scope).cookies
        session = self.sessions.find(cookies.get(self.cookie))
        scope.setdefault("state", {})["session"] = session

        async def with_cookie(message: Message) -> None:
            now: Session = scope["state"]["session"]
            if message["type"] == "http.response.start" and now.fresh and _shown(message):
                cookie = f"{self.cookie}={now.cookie}{self.flags}"
                message["headers"] = [*message["headers"], (b"set-cookie", cookie.encode())]
            await send(message)

        await self.app(scope, receive, with_cookie)


def _shown(message: Message) -> bool:
    """A page or a redirect after a login, and the token's own address: where a cookie is of use."""
    headers = {name.lower(): value for name, value in message["headers"]}
    kind = headers.get(b"content-type", b"")
    return kind.startswith(b"text/html") or b"location" in headers or b"x-token" in headers


class Paces:
    """How often a session has written of late."""

    def __init__(self) -> None:
        self._times: dict[str, deque[float]] = defaultdict(deque)

    def too_often(self, who: str, limit: int = WRITES) -> bool:
        now = time.monotonic()
        if len(self._times) > 10_000:
            self._times.clear()
        times = self._times[who]
        while times and now - times[0] > PER:
            times.popleft()
        times.append(now)
        return len(times) > limit


def role_of(request: Request) -> Role:
    """The role of who asks. Without any account everybody on loopback may do all."""
    accounts = cast("Accounts", request.app.state.accounts).all()
    if not accounts:
        return Role.ADMIN
    session: Session = request.state.session
    account = accounts.get(session.user or "")
    return account.role if account else Role.NOBODY


async def enter(request: Request) -> None:
    """The dependency of every route: pace, token and role."""
    if not hasattr(request.state, "session"):
        return  # static files have none and need none
    if request.method not in SAFE_METHODS:
        await _may_write(request)
    role = role_of(request)
    needed = needed_role(request.method, request.url.path)
    if role >= needed:
        return
    if role is Role.NOBODY:
        raise HTTPException(401, "Log in first.")
    raise HTTPException(403, f"This needs the role {needed.name.lower()}.")


async def _may_write(request: Request) -> None:
    sessions: Sessions = request.app.state.sessions
    token = request.headers.get("x-token") or await _form_token(request)
    if not sessions.right_token(request.state.session, token):
        raise HTTPException(
            403,
            "The form's token is missing or old: load the page again and repeat the change. "
            "A program asks /api/token first and sends it back as X-Token with the cookie.",
        )
    paces: Paces = request.app.state.paces
    if paces.too_often(request.state.session.cookie):
        raise HTTPException(429, "More than 60 changes in a minute.", {"Retry-After": "60"})


async def _form_token(request: Request) -> str | None:
    kind = request.headers.get("content-type", "")
    if not kind.startswith(("application/x-www-form-urlencoded", "multipart/form-data")):
        return None
    value: Any = (await request.form()).get("token")
    return value if isinstance(value, str) else None


Entered = Annotated[None, Depends(enter)]
