"""Short ways to write an invented catalogue for tests of costing."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from scrapers import Amount, Availability, Tax, parse_amount
from service.builds.view import PriceView
from service.model.builds import Build, Counts, Line
from service.model.catalogue import Break, Listing, Part, ShippingRow, Supplier, Supply
from service.model.money import Rate, Rates
from service.model.prices import Offer, PriceNow

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
D = Decimal
FREE = (ShippingRow("*", D(0)),)


def amount(text: str) -> Amount:
    return parse_amount(text)


def part(key: str, unit: str = "piece", **more: Any) -> Part:
    return Part(key, key.replace("-", " "), unit, **more)


def line(part_key: str | None, text: str, **more: Any) -> Line:
    counts = more.pop("counts", "share")
    kind, _, among = counts.partition(" ")
    return Line(amount(text), part=part_key, counts=Counts(kind, int(among or 1)), **more)


def brk(quantity: int, price: str, per: str = "each") -> Break:
    return Break(quantity, D(price), per)  # type: ignore[arg-type]  # the cases write "lot" or "each"


class Shop:
    """Collects parts, suppliers and priced listings, and makes the view of them."""

    def __init__(self, *parts: Part) -> None:
        self.parts = {p.key: p for p in parts}
        self.suppliers: dict[str, Supplier] = {}
        self.listings: list[Listing] = []
        self.prices: dict[int, PriceNow] = {}

    def supplier(self, key: str, **more: Any) -> Shop:
        self.suppliers[key] = Supplier(key, key.title(), **more)
        return self

    def sell(
        self,
        part_key: str,
        sold_as: str,
        price: str | None,
        supplier: str = "quillfeather",
        *,
        currency: str = "EUR",
        age: timedelta = timedelta(hours=1),
        availability: Availability = Availability.IN_STOCK,
        tax: Tax = Tax.UNKNOWN,
        doubtful: str | None = None,
        others: tuple[Supply, ...] = (),
        split: str | None = None,
        **more: Any,
    ) -> Listing:
        usual = Supplier(supplier, supplier.title(), country="NL", shipping=FREE)
        self.suppliers.setdefault(supplier, usual)
        number = len(self.listings) + 1
        first = Supply(part_key, amount(sold_as), D(split) if split else None)
        url = f"https://{supplier}.example/p/{part_key}-{number}"
        entry = Listing(url, supplier, (first, *others), url=url, id=number, **more)
        self.listings.append(entry)
        if price is not None:
            offer = Offer(D(price), currency, availability=availability, tax=tax)
            self.prices[number] = PriceNow(number, offer, NOW - age, doubtful)
        return entry

    def view(self, **more: Any) -> PriceView:
        return PriceView(
            more.pop("at", NOW), self.parts, self.suppliers, self.listings, self.prices, **more
        )


def build(*lines: Line, currency: str = "EUR", **more: Any) -> Build:
    return Build(
        more.pop("key", "curlew"), more.pop("name", "Curlew 2000"), currency, lines, **more
    )


def rates(day: date = date(2026, 11, 23), **values: str) -> Rates:
    return Rates({code: Rate(D(value), day) for code, value in values.items()})
