"""Pages that only script fills: run by the system's Chromium, which never reaches the network.

The page itself was fetched by us before. Whatever its scripts ask for comes back to
us and passes the same guard, robots.txt, lanes and caps as any visit; the browser has
no name resolution and a proxy that does not exist, so what we do not hand it fails.
"""

from __future__ import annotations

import importlib
import os
import shutil
from typing import TYPE_CHECKING, Any

from scrapers.errors import FetchError, TooLargeError

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from scrapers.ask import Answer

    Sub = Callable[[str], Awaitable[Answer]]
    """Fetches what a script asks for, within the visit's guard, lanes and deadline."""

MAX_REQUESTS = 40
SETTLE = 5.0  # seconds that scripts have once the page stands
_WANTED = frozenset({"script", "xhr", "fetch"})
_PASSED = ("content-type", "access-control-allow-origin", "access-control-allow-credentials")
_NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
_MISSING = (
    "this listing is marked render = true: install the extra ebbmark[browser]"
    " and Chromium from your system's packages"
)
_ARGUMENTS = (
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--proxy-server=http://127.0.0.1:1",
    "--proxy-bypass-list=<-loopback>",
    "--webrtc-ip-handling-policy=disable_non_proxied_udp",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
    "--no-first-run",
)


async def render(answer: Answer, sub: Sub, *, user_agent: str, limit: int) -> bytes:
    """The page as its scripts leave it, as UTF-8, at most `limit` bytes.

    Raises FetchError: `refused` where no browser is installed, else as `sub` does
    for the page's whole; what a single script cannot have is simply not there.
    """
    driver, executable = _browser()
    async with driver() as playwright:
        browser = await playwright.chromium.launch(
            executable_path=executable,
            args=list(_ARGUMENTS),
            chromium_sandbox=os.geteuid() != 0,  # as root it cannot start with one
        )
        try:
            return await _content(browser, answer, Supply(answer, sub, limit), user_agent)
        finally:
            await browser.close()


def _browser() -> tuple[Any, str]:
    try:
        api = importlib.import_module("playwright.async_api")
    except ImportError as error:
        raise FetchError(_MISSING, outcome="refused") from error
    executable = next(filter(None, map(shutil.which, _NAMES)), None)
    if executable is None:
        raise FetchError(_MISSING, outcome="refused")
    return api.async_playwright, executable


async def _content(browser: Any, answer: Answer, supply: Supply, user_agent: str) -> bytes:
    errors = importlib.import_module("playwright.async_api")
    context = await browser.new_context(
        user_agent=user_agent, service_workers="block", accept_downloads=False
    )
    await context.route("**/*", supply.handle)
    await context.route_web_socket("**/*", lambda socket: socket.close())
    page = await context.new_page()
    try:
        await page.goto(answer.target.url, wait_until="domcontentloaded", timeout=SETTLE * 1000)
        await page.wait_for_load_state("networkidle", timeout=SETTLE * 1000)
    except errors.TimeoutError:
        pass  # what stands by now is what there is
    except errors.Error as error:
        raise FetchError("the browser cannot show the page") from error
    body: bytes = (await page.content()).encode()
    if len(body) > supply.limit:
        raise TooLargeError(f"the page is larger than {supply.limit // 1024} KiB")
    return body


class Supply:
    """Answers what the browser asks for: the page once, then scripts and their data."""

    def __init__(self, answer: Answer, sub: Sub, limit: int) -> None:
        self.limit = limit
        self._answer = answer
        self._sub = sub
        self._given = False
        self._requests = 0
        self._left = limit

    async def handle(self, route: Any) -> None:
        """Fulfil or abort one request of the browser."""
        request = route.request
        if not self._given and request.is_navigation_request():
            self._given = True
            kind = self._answer.headers.get("content-type", "text/html")
            await route.fulfill(status=200, headers={"content-type": kind}, body=self._answer.body)
            return
        found = await self._fetch(request)
        if found is None:
            await route.abort()
            return
        headers = {name: found.headers[name] for name in _PASSED if name in found.headers}
        await route.fulfill(status=found.status, headers=headers, body=found.body)

    async def _fetch(self, request: Any) -> Answer | None:
        """What a script may have; None for all else: pictures, forms, frames, other pages."""
        plain = request.method == "GET" and request.resource_type in _WANTED
        if not plain or self._requests >= MAX_REQUESTS or self._left <= 0:
            return None
        self._requests += 1
        try:
            answer = await self._sub(request.url)
        except FetchError:
            return None
        self._left -= len(answer.body)
        return answer if self._left >= 0 else None
