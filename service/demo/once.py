"""The main job on the invented suppliers: load, a year of history, poll over HTTP, reprice."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from service.bootstrap import opened
from service.demo.shops import HOSTS, goods, resolve, scenario, served
from service.demo.year import year
from service.exchange.catalogue import book_from_document
from service.flows import ask, edit
from service.flows.buying import Bought, buy
from service.flows.deliver import deliver_due
from service.flows.poll import poll_these
from service.flows.ports import Deps
from service.flows.writer import OnLine
from service.model.book import Book
from service.model.money import parse_money
from service.model.prices import Observation
from service.settings import Settings

BUILD = "siskin"
PORT_SETTING = "demo.port"
HAND_PRICES = (("canopy", "club", "12.00 EUR"),)
BOUGHT = (("resin", "merle", 1, "14.20 EUR"),)


@contextmanager
def demo_book(settings: Settings, *, keep: bool) -> Iterator[Deps]:
    """The demo's own book with its shops served; made anew unless `keep`."""
    path = Path(settings.db.removeprefix("sqlite:///"))
    if not keep:
        for name in (path, Path(f"{path}-wal"), Path(f"{path}-shm")):
            name.unlink(missing_ok=True)
    path.parent.mkdir(parents=True, exist_ok=True)
    with opened(settings, resolver=resolve, loopback=HOSTS) as deps:
        known = _known_port(deps)
        with served(known or 0) as port:
            if known is None:
                fill(deps, port)
            yield deps


def demo_settings(settings: Settings, db: str | None, folder: Path) -> Settings:
    """Settings of the demo: never the user's book, channels or contact."""
    return replace(
        settings,
        db=db or f"sqlite:///{folder / 'demo.db'}",
        contact=None,
        currency="EUR",
        destination=None,
        channels=(),
    )


def _known_port(deps: Deps) -> int | None:
    with deps.store.read() as unit:
        port = unit.setting(PORT_SETTING)
    return int(port) if port else None


def fill(deps: Deps, port: int) -> None:
    """The invented catalogue and its year, in one transaction; the port is kept last."""
    book = book_from_document(tomllib.loads(scenario(port)), "scenario.toml", Book())
    edit.load_book(deps, book)
    _past(deps)
    for part, supplier, price in HAND_PRICES:
        edit.book_price(deps, part, parse_money(price), supplier)
    for part, supplier, count, price in BOUGHT:
        buy(deps, part, Decimal(count), parse_money(price), Bought(supplier))
    with deps.store.write() as unit:
        unit.set_setting(PORT_SETTING, str(port))


def _past(deps: Deps) -> None:
    articles = {(one.host, one.path): one for one in goods().values()}
    now = deps.clock()
    with deps.store.write() as unit:
        observations: list[Observation] = []
        for listing in unit.catalogue.listings():
            if listing.url is None:
                continue
            host, _, path = listing.url.removeprefix("http://").partition("/")
            article = articles[host.partition(":")[0], f"/{path}"]
            observations += year(article, listing.id, now)
        unit.log.insert_past(observations)


async def one_pass(deps: Deps, on_line: OnLine | None = None) -> Mapping[str, Any]:
    """Poll everything, deliver notices, reprice: the object of `ebbmark demo --once --json`."""
    with deps.store.read() as unit:
        pages = [listing.id for listing in unit.catalogue.listings() if listing.url]
    report = await poll_these(deps, pages, on_line=on_line)
    await deliver_due(deps)
    return {
        "polled": report.as_json(),
        "build": ask.reprice(deps, BUILD),
        "deals": ask.deals(deps, only_open=True),
    }
