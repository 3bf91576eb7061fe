"""A small invented book in a fresh store, and the application over it, for the tests of pages."""

from __future__ import annotations

import re
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import httpx
from fastapi.routing import APIRoute

from scrapers import Availability, Outcome, Policy, Tax, Visited
from service.exchange.catalogue import book_from_document, parse_toml
from service.flows.ports import Deps, Doubt
from service.model.money import Money
from service.model.orders import Purchase
from service.model.prices import Observation, Offer
from service.settings import Settings
from service.store.database import open_store
from service.web.app import create_app

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOW = datetime(2026, 11, 24, 20, 40, tzinfo=UTC)

CATALOGUE = """
[supplier.quillfeather]
name = "Quillfeather Models"
home = "https://quillfeather.example/"
country = "NL"
currency = "EUR"
shipping = [{ to = "NL", fee = "4.95", free_from = "75.00" }, { to = "*", fee = "12.50" }]
[supplier.harrow]
name = "Harrow & Vane"
home = "https://harrow.example/"
country = "GB"
currency = "GBP"
[supplier.dunnock]
name = "Dunnock Drives"
home = "https://dunnock.example/"
country = "DE"
currency = "EUR"

[part.battery-4s]
name = "4S 3300 mAh battery"
spec = { cells = 4, capacity_mAh = 3300 }
class = ["lithium"]
[[part.battery-4s.listing]]
supplier = "quillfeather"
url = "https://quillfeather.example/p/4s-3300"
sold_as = "1 piece"
[[part.battery-4s.listing]]
supplier = "dunnock"
url = "https://dunnock.example/akku/4s"
sold_as = "2 piece"
[[part.battery-4s.listing]]
supplier = "harrow"
url = "https://harrow.example/battery"
sold_as = "1 piece"

[part.balsa-2]
name = "Balsa sheet 2 mm"
unit = "m2"
[[part.balsa-2.listing]]
supplier = "quillfeather"
url = "https://quillfeather.example/p/balsa2"
sold_as = "1000 x 100 mm"

[part.spar]
name = "Carbon spar 8 mm"
unit = "m"
[[part.spar.listing]]
supplier = "harrow"
url = "https://harrow.example/spar"
sold_as = "1 m"

[part.resin]
name = "Laminating resin"
unit = "g"
[[part.resin.listing]]
supplier = "dunnock"
url = "https://dunnock.example/harz"
sold_as = "350 g"

[part.motor]
name = "Outrunner 900 KV"
[[part.motor.listing]]
supplier = "dunnock"
url = "https://dunnock.example/motor900"
sold_as = "1 piece"
[part.esc]
name = "Controller 60 A"
spec = { amps = 60 }
[[part.esc.listing]]
supplier = "quillfeather"
url = "https://quillfeather.example/p/esc60"
sold_as = "1 piece"
[part.propeller]
name = "Folding propeller 13 x 6.5"

[build.curlew]
name = "Curlew 2000"
currency = "EUR"
budget = "420.00"
need_by = 2027-03-15
lines = [
  { part = "balsa-2", amount = "0.62 m2", group = "structure" },
  { part = "spar", amount = "2 m", group = "structure" },
  { part = "resin", amount = "90 g", group = "structure" },
  { part = "motor", amount = "1 piece", group = "drive" },
  { part = "esc", amount = "1 piece", group = "drive" },
  { part = "battery-4s", amount = "1 piece", group = "drive" },
  { part = "propeller", amount = "1 piece", group = "drive" },
]
[build.curlew-light]
name = "Curlew, light"
from = "curlew"
replace = [{ part = "battery-4s", by = "battery-4s", amount = "2 piece" }]

[[target]]
part = "battery-4s"
at_or_below = "38.00 EUR"
"""

# price of one unit of sale by days ago, from then on
PRICES: dict[str, tuple[str, list[tuple[int, str]]]] = {
    "https://quillfeather.example/p/4s-3300": (
        "EUR",
        [(290, "46.90"), (248, "39.90"), (240, "46.90"), (188, "37.50"), (180, "44.90"),
         (128, "37.90"), (120, "44.90"), (68, "36.90"), (60, "44.90"), (25, "42.50"), (4, "49.90"), (3, "41.90")],
    ),
    "https://dunnock.example/akku/4s": ("EUR", [(260, "91.00"), (150, "87.90"), (80, "89.60")]),
    "https://harrow.example/battery": ("GBP", [(280, "40.50"), (100, "37.40")]),
    "https://quillfeather.example/p/balsa2": ("EUR", [(280, "4.30"), (90, "4.10")]),
    "https://harrow.example/spar": ("GBP", [(250, "13.20"), (94, "12.40"), (40, "11.90")]),
    "https://dunnock.example/harz": ("EUR", [(250, "24.60"), (120, "27.10"), (60, "24.60")]),
    "https://dunnock.example/motor900": ("EUR", [(250, "49.90"), (45, "44.83")]),
    "https://quillfeather.example/p/esc60": ("EUR", [(250, "39.90")]),
}  # fmt: skip


class NoFetcher:
    """Visits nothing: every shop is out of reach."""

    async def visit(self, request: Any) -> Visited:
        return Visited(request.url, Outcome.UNREACHABLE, NOW, reason="no network in this test")

    async def aclose(self) -> None: ...


def fill(deps: Deps, catalogue: str = CATALOGUE) -> None:
    """The invented book with 290 days of prices, a doubt and a purchase."""
    book = book_from_document(parse_toml(catalogue, "book.toml"))
    with deps.store.write() as unit:
        unit.catalogue.save(book, now=NOW)
        unit.rates.add((date(2026, 1, 1) + timedelta(days=n), "GBP", "0.8421") for n in range(327))
    for key, (currency, steps) in PRICES.items():
        with deps.store.write() as unit:
            listing = unit.catalogue.listing(key)
            if listing is not None:
                unit.log.record(observations(listing.id, currency, steps))
    with deps.store.write() as unit:
        held = unit.catalogue.listing("https://harrow.example/battery")
        if held is not None:
            reading = {"price": "3.74", "currency": "GBP"}
            unit.log.keep_doubt(
                Doubt(held.id, NOW - timedelta(hours=5), "a tenth of the last price", reading)
            )
        if "resin" in unit.catalogue.parts():
            unit.purchases.add(
                Purchase(
                    "resin",
                    Decimal(1),
                    Money(Decimal("24.60"), "EUR"),
                    Decimal(350),
                    "dunnock",
                    date(2026, 10, 3),
                )
            )


def observations(listing: int, currency: str, steps: list[tuple[int, str]]) -> list[Observation]:
    found = []
    for (ago, price), until in zip(steps, [s[0] for s in steps[1:]] + [0], strict=True):
        offer = Offer(Decimal(price), currency, None, Availability.IN_STOCK, Tax.INCLUDED)
        for day in range(ago, until, -1):
            at = NOW - timedelta(days=day, hours=-20) if day == 1 else NOW - timedelta(days=day)
            found.append(Observation(listing, at, offer))
    return found


@contextmanager
def desk(
    folder: Path, *, filled: bool = True, catalogue: str = CATALOGUE, **more: Any
) -> Iterator[Deps]:
    """A store with the book in it, closed on leaving."""
    store = open_store(f"sqlite:///{folder / 'book.db'}")
    deps = Deps(
        store=store,
        fetcher=more.pop("fetcher", NoFetcher()),
        channels=more.pop("channels", {}),
        clock=lambda: NOW,
        owner="test",
        extra={"policy": Policy(allow_hosts=frozenset({"127.0.0.1"})), "markup": Decimal(0)},
        **more,
    )
    try:
        if filled:
            fill(deps, catalogue)
        yield deps
    finally:
        store.close()


def application(deps: Deps, folder: Path, **more: Any) -> Any:
    app = create_app(deps, settings=Settings(db="sqlite://"), cache=folder / "cache", **more)
    app.state.ready = True
    return app


def client(app: Any, base: str = "http://127.0.0.1:8720", **more: Any) -> httpx.AsyncClient:
    """A client that speaks to the application without a socket."""
    return httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url=base, **more)


async def token_of(browser: httpx.AsyncClient) -> str:
    """The token for this client's session, as a form would carry it."""
    answer = await browser.get("/api/token")
    return str(answer.json()["token"])


def routes(app: Any) -> list[tuple[str, str]]:
    """Every `(method, path)` of the application with its parameters filled in."""
    found = []
    for route in walk(app.routes):
        path = re.sub(r"\{[^}]+\}", "1", route.path)
        found += [(method, path) for method in route.methods - {"HEAD"}]
    return found


def walk(items: Any) -> Iterator[APIRoute]:
    for item in items:
        if isinstance(item, APIRoute):
            yield item
        else:
            inner = getattr(item, "original_router", None) or getattr(item, "app", None)
            yield from walk(getattr(inner, "routes", []))
