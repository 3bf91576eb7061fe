"""Many small shops on loopback for whole-program tests: prices that the test sets, a request log."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Lock, Thread

from shop_page import product_page


@dataclass
class Shops:
    """`price(host, path)` is what a page shows now; `log`: (host, path, start, end)."""

    port: int = 0
    round: int = 0
    log: list[tuple[str, str, float, float]] = field(default_factory=list)
    lock: Lock = field(default_factory=Lock)

    def price(self, path: str) -> str:
        number = int(path.rpartition("/")[2])
        return f"{20 + number % 40 + self.round * 0.05:.2f}"  # rises: no price flips to and fro

    def url(self, host: int, number: int) -> str:
        return f"http://127.0.0.{host}:{self.port}/p/{number}"


@contextmanager
def many_shops(hosts: int, *, slow: float = 0.0) -> Iterator[Shops]:
    shops = Shops()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            start = time.monotonic()
            time.sleep(slow)
            if self.path == "/robots.txt":
                status, body = 404, b""
            else:
                number = self.path.rpartition("/")[2]
                status, body = 200, product_page(shops.price(self.path), sku=number)
            self.send_response(status)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)
            with shops.lock:
                host = self.headers.get("Host") or ""
                shops.log.append((host, self.path, start, time.monotonic()))

        def log_message(self, *_: object) -> None:
            """Quiet."""

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        request_queue_size = 128

        def handle_error(self, *_: object) -> None:
            """A client that was killed hangs up in the middle: expected here."""

    first = Server(("127.0.0.1", 0), Handler)
    shops.port = first.server_address[1]
    servers = [first]
    servers += [Server((f"127.0.0.{n}", shops.port), Handler) for n in range(2, hosts + 1)]
    threads = [Thread(target=s.serve_forever, args=(0.05,), daemon=True) for s in servers]
    for thread in threads:
        thread.start()
    try:
        yield shops
    finally:
        for server in servers:
            server.shutdown()
            server.server_close()


def catalogue(shops: Shops, hosts: int, each: int) -> str:
    """A catalogue of `hosts` suppliers with `each` listings; every third part has a target."""
    parts = [
        f'[supplier.s{host}]\nname = "Shop {host}"\ncountry = "NL"\ncurrency = "EUR"\n'
        for host in range(1, hosts + 1)
    ]
    for host in range(1, hosts + 1):
        for n in range(each):
            number = host * 1000 + n
            parts.append(
                f'[part.p{number}]\nname = "Part {number}"\nunit = "piece"\n'
                f'listing = [{{ supplier = "s{host}", url = "{shops.url(host, number)}", '
                'sold_as = "1 piece" }]\n'
            )
    for host in range(1, hosts + 1):
        parts += [
            f'[[target]]\npart = "p{host * 1000 + n}"\nat_or_below = "{20 + n % 40 + 0.6:.2f} EUR"\n'
            for n in range(0, each, 3)
        ]
    return "\n".join(parts)
