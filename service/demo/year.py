"""A year of prices before today, generated: price steps, shop-wide sales, sold-out weeks."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal

from scrapers import Availability, Tax
from service.demo.pages import Goods
from service.model.prices import Observation, Offer

DAYS = 365
# (days ago from, to, percent off): each shop's own sales
SALES: dict[str, tuple[tuple[int, int, int], ...]] = {
    "larkspur.example": ((364, 357, 20), (188, 180, 15), (96, 91, 10)),
    "holzbrise.example": ((330, 320, 15), (150, 143, 15)),
    "merle.example": ((281, 274, 10), (67, 60, 12)),
    "millrace.example": ((322, 312, 25), (140, 133, 15)),
}
CURRENCY = {"millrace.example": "GBP"}
CENT = Decimal("0.01")


def year(goods: Goods, listing: int, now: datetime) -> Iterator[Observation]:
    """One observation a day, oldest first, the last one the day before `now`."""
    start = now - timedelta(days=DAYS)
    for day in range(DAYS):
        at = start + timedelta(days=day)
        ago = DAYS - day
        yield Observation(listing, at, _offer(goods, ago), origin="import")


def _offer(goods: Goods, ago: int) -> Offer:
    usual = _usual(goods, ago)
    percent = next((p for a, b, p in SALES[goods.host] if b <= ago <= a), 0)
    price = (usual * (100 - percent) / 100).quantize(CENT, ROUND_HALF_UP)
    sold_out = _draw(goods, "out", 320) - 12 < ago <= _draw(goods, "out", 320)
    return Offer(
        price=price,
        currency=CURRENCY.get(goods.host, "EUR"),
        list_price=usual if percent else None,
        availability=Availability.OUT_OF_STOCK if sold_out else Availability.IN_STOCK,
        tax=Tax.EXCLUDED if goods.host == "millrace.example" else Tax.INCLUDED,
    )


def _usual(goods: Goods, ago: int) -> Decimal:
    """Today's usual price, reached in one or two small steps."""
    first, second = 60 + _draw(goods, "first", 120), 200 + _draw(goods, "second", 120)
    percent = 100
    if ago > first:
        percent -= 2 + _draw(goods, "step", 5)
    if ago > second:
        percent += _draw(goods, "back", 6) - 3
    price = goods.usual * percent / 100
    return price.quantize(Decimal("0.05"), ROUND_HALF_UP).quantize(CENT)


def _draw(goods: Goods, what: str, below: int) -> int:
    """A number from 0 to `below` - 1 that is always the same for the same article."""
    text = f"{goods.host}{goods.path}{what}"
    return int(hashlib.sha256(text.encode()).hexdigest()[:8], 16) % below
