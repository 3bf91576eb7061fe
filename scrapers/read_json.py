"""A reading as the JSON object of `ebbmark read --json`: a contract that other programs read."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from scrapers.model import Choice, Reading
from scrapers.readers.values import minor_units


def money(amount: Decimal | None, currency: str | None) -> str | None:
    """An amount as text with the currency's minor units and a decimal point."""
    if amount is None:
        return None
    places = max(minor_units(currency), 0)
    exponent = amount.normalize().as_tuple().exponent
    held = -exponent if isinstance(exponent, int) and exponent < 0 else 0
    return format(amount, f".{max(places, held)}f")


def reading_to_json(page: str, url: str, reading: Reading) -> dict[str, Any]:
    """The object of one page. `page`: as the user gave it; `url`: the address it stands for."""
    currency = reading.currency
    unit = reading.unit_price
    ids = reading.ids
    return {
        "page": page,
        "url": url,
        "outcome": str(reading.outcome),
        "reason": reading.reason,
        "title": reading.title,
        "price": money(reading.price, currency),
        "currency": currency,
        "list_price": money(reading.list_price, currency),
        "low": money(reading.low, currency),
        "high": money(reading.high, currency),
        "availability": str(reading.availability),
        "tax": str(reading.tax),
        "unit_price": {"price": money(unit.price, currency), "per": unit.per} if unit else None,
        "sold_as": reading.sold_as,
        "ids": {"gtin": ids.gtin, "mpn": ids.mpn, "sku": ids.sku, "brand": ids.brand},
        "spec": dict(reading.spec),
        "choices": [_choice(c, currency) for c in reading.choices],
        "multibuy": [
            {"quantity": m.quantity, "price": money(m.price, currency), "per": m.per}
            for m in reading.multibuy
        ],
        "member_price": money(reading.member_price, currency),
        "shipping": money(reading.shipping, currency),
        "source": str(reading.source) if reading.source else None,
        "evidence": [
            {"reader": e.reader, "field": e.field, "value": e.value, "where": e.where}
            for e in reading.evidence
        ],
    }


def _choice(choice: Choice, currency: str | None) -> dict[str, Any]:
    return {
        "name": choice.name,
        "sku": choice.sku,
        "price": money(choice.price, choice.currency or currency),
        "currency": choice.currency or (currency if choice.price is not None else None),
        "availability": str(choice.availability),
    }
