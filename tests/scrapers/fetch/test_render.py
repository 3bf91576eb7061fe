"""Pages that script fills. The browser is the system's Chromium, if playwright is there too."""

from __future__ import annotations

import asyncio
import importlib.util
import shutil
from datetime import UTC, datetime
from typing import Any

import pytest
from fetch_lab import AGENT, ALLOW, Wire, answer, visit

from scrapers import Fetcher, Limits, Outcome, Policy, VisitRequest, read_page
from scrapers.render import MAX_REQUESTS, Supply

SHELL = b"""<!doctype html><html><head><title>Tube</title></head><body><div id="root"></div>
<img src="/picture.png"><script src="/app.js"></script></body></html>"""
SCRIPT = b"""
fetch('/private.json').catch(() => {});
fetch('http://10.0.0.1/').catch(() => {});
fetch('http://localhost:PORT/other').catch(() => {});
fetch('/post', {method: 'POST'}).catch(() => {});
new WebSocket('ws://127.0.0.1:PORT/socket').onerror = () => {};
fetch('/price.json').then(r => r.json()).then(p => {
  document.getElementById('root').innerHTML =
    '<h1>Carbon tube 8 mm</h1><script type="application/ld+json">' + JSON.stringify({
      '@type': 'Product', name: 'Carbon tube 8 mm',
      offers: {price: p.price, priceCurrency: 'EUR', availability: 'https://schema.org/InStock'}
    }) + '<\\/script><p>' + p.price + ' EUR</p><button>Add to cart</button>';
});
"""


async def _serve(asked: list[str]) -> tuple[asyncio.Server, int]:
    port = 0

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = await reader.readuntil(b"\r\n\r\n")
        path = head.split(b" ", 2)[1].decode()
        asked.append(path)
        assert head.startswith(b"GET ")
        assert AGENT.encode() in head
        bodies = {
            "/robots.txt": answer(b"User-agent: *\nDisallow: /private.json\n"),
            "/p": answer(SHELL, Content_Type="text/html", ETag='"shell"'),
            "/app.js": answer(
                SCRIPT.replace(b"PORT", str(port).encode()), Content_Type="text/javascript"
            ),
            "/price.json": answer(b'{"price": "7.90"}', Content_Type="application/json"),
        }
        writer.write(bodies.get(path, answer(b"", "404 Not Found")))
        await writer.drain()
        writer.close()

    server = await asyncio.start_server(handle, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    return server, port


@pytest.mark.skipif(
    importlib.util.find_spec("playwright") is None or not shutil.which("chromium"),
    reason="needs the extra ebbmark[browser] and Chromium",
)
def test_a_page_that_script_fills_is_read_and_the_guard_holds() -> None:
    async def run() -> tuple[Any, list[str]]:
        asked: list[str] = []
        server, port = await _serve(asked)
        fetcher = Fetcher(
            user_agent=AGENT,
            policy=Policy(allow_hosts=frozenset({"127.0.0.1"})),
            clock=lambda: datetime.now(UTC),
            limits=Limits(deadline=40),
        )
        async with server:
            url = f"http://127.0.0.1:{port}/p"
            seen = await fetcher.visit(VisitRequest(url, render=True))
        await fetcher.aclose()
        return seen, asked

    seen, asked = asyncio.run(run())
    assert seen.outcome is Outcome.OK, seen.reason
    reading = read_page(seen.page)
    assert (reading.outcome, str(reading.price)) == (Outcome.OK, "7.90")
    # no picture, no form, no socket, nothing that robots.txt bars, no other name of this machine
    assert sorted(asked) == ["/app.js", "/p", "/price.json", "/robots.txt"]
    assert seen.requests == 4
    assert seen.validators.etag is None  # the shell's says nothing of the price


def test_without_a_browser_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    monkeypatch.setattr("scrapers.transport.dial", Wire(lambda *_: answer(SHELL)))

    async def names(_host: str, _port: int) -> list[str]:
        return ["93.184.216.34"]

    seen = visit(VisitRequest("http://h.example/p", robots=ALLOW, render=True), resolver=names)
    assert seen.outcome is Outcome.REFUSED
    assert "ebbmark[browser]" in (seen.reason or "")


class _Request:
    def __init__(self, kind: str, method: str = "GET", *, navigates: bool = False) -> None:
        self.resource_type, self.method, self.url = kind, method, "http://h.example/x"
        self._navigates = navigates

    def is_navigation_request(self) -> bool:
        return self._navigates


class _Route:
    def __init__(self, request: _Request) -> None:
        self.request = request
        self.ended = ""

    async def fulfill(self, **_: Any) -> None:
        self.ended = "given"

    async def abort(self) -> None:
        self.ended = "refused"


def _supply(size: int, limit: int) -> Supply:
    from scrapers.ask import Answer
    from scrapers.guard import parse_url

    found = Answer(parse_url("http://h.example/p", Policy()), 200, {}, body=b"x" * size)

    async def sub(_url: str) -> Answer:
        return found

    return Supply(found, sub, limit)


def _ask(supply: Supply, *requests: _Request) -> list[str]:
    routes = [_Route(request) for request in requests]

    async def run() -> None:
        for route in routes:
            await supply.handle(route)

    asyncio.run(run())
    return [route.ended for route in routes]


def test_the_browser_gets_the_page_once_and_no_other_page() -> None:
    first, second = (_Request("document", navigates=True) for _ in range(2))
    kinds = [_Request(kind) for kind in ("image", "media", "font", "stylesheet", "websocket")]
    ended = _ask(_supply(10, 1000), first, second, *kinds, _Request("xhr", "POST"))
    assert ended == ["given"] + ["refused"] * 7


def test_requests_and_bytes_of_scripts_are_capped() -> None:
    many = [_Request("xhr") for _ in range(MAX_REQUESTS + 5)]
    assert _ask(_supply(1, 10**6), *many).count("given") == MAX_REQUESTS
    assert _ask(_supply(400, 1000), *many).count("given") == 2
