"""The invented suppliers as real HTTP sites on loopback, told apart by their host names."""

from __future__ import annotations

import gzip
import hashlib
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from decimal import Decimal
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from threading import Thread
from typing import ClassVar

from service.demo.pages import PAGES, Goods
from service.errors import InputError

HOSTS = frozenset(f"{name}.example" for name in PAGES)
ROBOTS = b"User-agent: *\nDisallow: /basket\nDisallow: /panier\n"


@cache
def goods() -> Mapping[tuple[str, str], Goods]:
    """All articles by (shop, path)."""
    tables = tomllib.loads(_text("goods.toml"))
    return {
        (shop, path): _article(shop, path, row)
        for shop, rows in tables.items()
        for path, row in rows.items()
    }


def scenario(port: int) -> str:
    """The catalogue of the demo, with the shops on `port`."""
    return _text("scenario.toml").replace("{port}", str(port))


def _text(name: str) -> str:
    return (files("service.demo") / name).read_text("utf-8")


def _article(shop: str, path: str, row: Mapping[str, str]) -> Goods:
    price = Decimal(row["price"])
    return Goods(
        host=f"{shop}.example",
        path=path,
        title=row["title"],
        brand=row["brand"],
        sku=row["sku"],
        price=price,
        usual=Decimal(row.get("usual", row["price"])),
        in_stock=row.get("stock") != "out",
    )


class ShopHandler(BaseHTTPRequestHandler):
    """GET of robots.txt and product pages; conditional by ETag, gzip where accepted."""

    protocol_version = "HTTP/1.1"
    shops: ClassVar[Mapping[tuple[str, str], Goods]] = {}

    def do_GET(self) -> None:
        """Answer one request and close."""
        shop = (self.headers.get("Host") or "").partition(".")[0]
        if self.path == "/robots.txt":
            self._send(200, ROBOTS, "text/plain")
            return
        found = self.shops.get((shop, self.path))
        if found is None:
            self._send(404, b"<h1>Not found</h1>", "text/html; charset=utf-8")
            return
        body = PAGES[shop](found).encode()
        etag = f'"{hashlib.sha256(body).hexdigest()[:16]}"'
        if self.headers.get("If-None-Match") == etag:
            self._send(304, b"", "text/html; charset=utf-8", etag)
            return
        self._send(200, body, "text/html; charset=utf-8", etag)

    def _send(self, status: int, body: bytes, kind: str, etag: str | None = None) -> None:
        packed = "gzip" in (self.headers.get("Accept-Encoding") or "") and bool(body)
        payload = gzip.compress(body, mtime=0) if packed else body
        self.send_response(status)
        self.send_header("Content-Type", kind)
        if status != 304:
            self.send_header("Content-Length", str(len(payload)))
        if packed:
            self.send_header("Content-Encoding", "gzip")
        if etag:
            self.send_header("ETag", etag)
        self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(payload)
        self.close_connection = True

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  its name there
        """Say nothing: the program tells what it visited."""


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = 128
    allow_reuse_address = True


@contextmanager
def served(port: int = 0) -> Iterator[int]:
    """The shops, served while inside; answers their port. InputError where it is taken."""
    try:
        server = _Server(("127.0.0.1", port), type("Shop", (ShopHandler,), {"shops": goods()}))
    except OSError as error:
        raise InputError(
            f"port {port} for the demo's shops is taken ({error.strerror}); "
            "leave out --keep to have another one chosen"
        ) from None
    thread = Thread(target=server.serve_forever, name="demo shops", daemon=True)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


async def resolve(host: str, port: int) -> Sequence[str]:
    """The demo's resolver: its invented names lead to this machine, no other name anywhere."""
    del port
    return ["127.0.0.1"] if host in HOSTS else []
