"""An invented book with every kind of thing in it, and what the store's tests need of it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from scrapers import Amount, Availability, Tax
from service.model.book import Book
from service.model.builds import Alternative, Build, Counts, Cut, Line, Replacement
from service.model.catalogue import (
    Break,
    Equivalent,
    Fee,
    Listing,
    Part,
    ShippingRow,
    Supplier,
    Supply,
)
from service.model.deals import Target
from service.model.money import Money
from service.model.orders import Purchase
from service.model.prices import Observation, Offer

if TYPE_CHECKING:
    from service.store.database import SqlStore

BATTERY = "https://quill.example/p/4s-3300"
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def amount(text: str, unit: str = "piece") -> Amount:
    return Amount(Decimal(text), unit)


def offer(
    price: str, *, stock: Availability = Availability.IN_STOCK, was: str | None = None
) -> Offer:
    return Offer(Decimal(price), "EUR", None if was is None else Decimal(was), stock, Tax.INCLUDED)


def seen(listing: int, at: datetime, price: str, origin: str = "poll") -> Observation:
    return Observation(listing, at, offer(price), origin)


def page(key: str, part: str, supplier: str = "quill", hours: int = 6) -> Listing:
    url = f"https://{supplier}.example/p/{key}"
    return Listing(
        url, supplier, (Supply(part, amount("1")),), url=url, every=timedelta(hours=hours)
    )


def full_book() -> Book:
    suppliers = (
        Supplier(
            "quill",
            "Quill Models",
            "https://quill.example/",
            "NL",
            "EUR",
            shipping=(
                ShippingRow("NL", Decimal("4.95"), Decimal("75.00"), days="2-4"),
                ShippingRow("*", Decimal("12.50"), up_to_g=Decimal(2000), not_classes=("lithium",)),
            ),
            min_gap=timedelta(seconds=20),
            fees=(Fee("dangerous goods", amount=Decimal("6.00"), when_class="lithium"),),
        ),
        Supplier("tarn", "Tarn & Co", country="GB", currency="GBP", prices="without-tax"),
    )
    parts = (
        Part(
            "battery",
            "4S 3300 mAh battery",
            "piece",
            spec={"cells": "4", "capacity_mAh": "3300"},
            classes=("lithium",),
            mass=amount("310", "g"),
            equivalents=(Equivalent("battery-old", "same plug"),),
        ),
        Part("battery-old", "4S 3000 mAh battery", "piece", spec={"cells": "4"}),
        Part("resin", "laminating resin", "g", density=Decimal("1.15"), shelf_life=365 * DAY),
        Part("spar", "carbon tube 8 mm", "m", keep=amount("1", "m")),
        Part("strap", "strap", "piece"),
    )
    listings = (
        page("4s-3300", "battery"),
        Listing(
            "https://tarn.example/kit#blue",
            "tarn",
            (Supply("resin", amount("300", "g"), Decimal("0.6")), Supply("strap", amount("2"))),
            url="https://tarn.example/kit",
            every=DAY,
            choice="blue",
            rule={"price": "css:.now"},
            includes=(Supply("strap", amount("1")),),
            breaks=(Break(3, Decimal("5.00")), Break(10, Decimal("40.00"), "lot")),
        ),
        Listing("quill/spar", "quill", (Supply("spar", amount("1", "m")),)),
        page("4s-3000", "battery-old", hours=24),
    )
    curlew = Build(
        "curlew",
        "Curlew 2000",
        "EUR",
        lines=(
            Line(amount("1"), "drive", part="battery"),
            Line(amount("150", "g"), "structure", part="resin", waste=Decimal("0.1")),
            Line(
                amount("2", "m"),
                "structure",
                choose=(Alternative("spar", amount("2", "m")), Alternative("strap", amount("9"))),
                cuts=(Cut(4, Decimal(300)), Cut(1, size=(Decimal(10), Decimal(20)))),
                counts=Counts("shared", 6),
            ),
        ),
        budget=Decimal("420.00"),
        need_by=date(2027, 3, 15),
    )
    version = Build(
        "curlew-light", "Curlew light", "EUR", base="curlew", replace=(Replacement("resin", None),)
    )
    plain = Build("ruff", "Ruff", "EUR", lines=(Line(amount("1"), part="strap"),))
    needing = Build(
        "dunlin",
        "Dunlin",
        "EUR",
        lines=(Line(amount("1"), need={"cells": "4", "capacity_mAh": "3000..3600"}),),
    )
    same = Purchase(
        "strap", Decimal(2), Money(Decimal("3.80"), "EUR"), supplier="tarn", on=date(2026, 1, 9)
    )
    targets = (
        Target("t-battery", "part", "battery", at_or_below=Money(Decimal("38.00"), "EUR")),
        Target(
            "t-page",
            "listing",
            "https://quill.example/p/4s-3300",
            below_regular=Decimal("0.15"),
            hold=DAY,
        ),
    )
    return Book(
        suppliers, parts, listings, (version, curlew, plain, needing), (same, same), targets
    )


def keep(store: SqlStore, book: Book | None = None) -> dict[str, int]:
    """Save a book; answers the numbers of its listings by key."""
    with store.write() as unit:
        unit.catalogue.save(book or full_book(), now=NOON)
        return {one.key: one.id for one in unit.catalogue.listings()}


def many(count: int, every: timedelta = timedelta(hours=6)) -> Book:
    """`count` listings numbered from 1 in a new store, on 7 hosts."""
    listings = []
    for number in range(count):
        url = f"https://s{number % 7}.example/{number}"
        supply = (Supply("part", amount("1")),)
        listings.append(Listing(url, "one", supply, url=url, every=every))
    return Book((Supplier("one", "One"),), (Part("part", "Part", "piece"),), tuple(listings))
