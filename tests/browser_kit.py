"""The service on a real port, an invented shop beside it, and the system's Chromium.

A pytest call of its own (`pytest tests/browser`): Playwright keeps a loop running in the
thread, in which no other test may call asyncio.run.
"""

from __future__ import annotations

import shutil
import threading
import time
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any

import pytest
from shop_page import product_page

if TYPE_CHECKING:
    from collections.abc import Iterator

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"]
QUIET += ["--disable-background-networking", "--disable-component-update"]

GOODS = {
    "/4s": product_page("41.90", title="4S LiPo 3300 mAh 40C battery", sku="B4"),
    "/motor": product_page("44.83", title="Outrunner motor 3536 900 KV", sku="M9"),
    "/esc": product_page("39.90", title="Brushless ESC 60 A", sku="E6"),
    "/balsa": product_page("4.10", title="Balsa sheet 1000 x 100 x 2 mm", sku="S2"),
    "/tube": product_page("14.20", title="Carbon tube 8 mm, 1 m", sku="T8"),
}


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium without a head; skips with the reason where something is missing."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    with api.sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield found
        found.close()


class Handler(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        body = GOODS.get(self.path)
        self.send_response(200 if body else 404)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.send_header("Content-Length", str(len(body or b"")))
        self.end_headers()
        self.wfile.write(body or b"")

    def log_message(self, *_: Any) -> None: ...


@pytest.fixture
def shop() -> Iterator[str]:
    """The address of an invented shop on loopback."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join(5)


@contextmanager
def served(app: Any) -> Iterator[str]:
    """The application on a free port of this machine, stopped on leaving."""
    import uvicorn

    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    for _ in range(400):
        if server.started:
            break
        time.sleep(0.05)
    assert server.started
    try:
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(15)


class Watch:
    """A page that notes every console message, page error, foreign request and refused policy."""

    def __init__(self, context: Any, home: str) -> None:
        self.wrong: list[str] = []
        self.weights: dict[str, int] = {}
        self.page = context.new_page()
        self.page.set_default_timeout(15_000)
        self.page.on("console", lambda m: self.wrong.append(f"console {m.type}: {m.text}"))
        self.page.on("pageerror", lambda e: self.wrong.append(f"error: {e}"))
        self.page.on("request", lambda r: self._foreign(r.url, home))
        self.home = home

    def _foreign(self, url: str, home: str) -> None:
        if not url.startswith((home, "data:", "blob:")):
            self.wrong.append(f"request off-host: {url}")
