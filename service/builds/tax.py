"""Value added tax on one footing: prices of several countries made comparable."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from scrapers import Tax
from service.builds import texts
from service.model.catalogue import Listing, Supplier


@dataclass(frozen=True, slots=True)
class Footing:
    """What a shown price is multiplied with, and the sentence that says why."""

    factor: Fraction = Fraction(1)
    note: str = ""
    unknown: bool = False  # a rate was needed and is not known


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads((files("service.data") / "vat.toml").read_text(encoding="utf-8"))


@cache
def _table() -> dict[str, list[tuple[date, Decimal]]]:
    return {
        country: sorted((row["from"], Decimal(row["percent"])) for row in rows)
        for country, rows in _data()["standard"].items()
    }


def taxes_of(day: date) -> int:
    """How many of the known rates had begun by `day`: equal numbers, equal taxes."""
    return sum(start <= day for rows in _table().values() for start, _ in rows)


def crosses_customs(start: str | None, end: str | None) -> bool:
    """Whether goods from one country to the other pass customs; False where one is unknown."""
    if start is None or end is None or start == end:
        return False
    return not {start, end} <= set(_data()["union"])


def in_union(country: str | None) -> bool:
    """Whether the country lies in the customs union."""
    return country in _data()["union"]


def standard_rate(country: str | None, day: date) -> Decimal | None:
    """The standard rate in percent that holds on `day`; None where no rate is known.

    Days before the first row take the first row.
    """
    rows = _table().get(country or "")
    if not rows:
        return None
    return next((rate for start, rate in reversed(rows) if start <= day), rows[0][1])


def footing(
    listing: Listing, supplier: Supplier | None, tax: Tax, destination: str | None, day: date
) -> Footing:
    """How a price shown by `supplier` counts for the user.

    Without a destination prices count as shown and those without tax get the standard
    rate of the supplier's country. With one, every price loses the tax it was shown
    with and gets the destination's.
    """
    country = listing.country or (supplier.country if supplier else None)
    net = _is_net(supplier, tax)
    if destination is None:
        return _add_tax(country, day, listing.supplier) if net else Footing()
    if net:
        return _add_tax(destination, day, listing.supplier)
    if country == destination:
        return Footing()
    return _move_tax(country, destination, day, listing.supplier)


def _is_net(supplier: Supplier | None, tax: Tax) -> bool:
    """What the page itself says goes before what the catalogue says of the supplier."""
    if tax is not Tax.UNKNOWN:
        return tax is Tax.EXCLUDED
    return supplier is not None and supplier.prices == "without-tax"


def _add_tax(country: str | None, day: date, shop: str) -> Footing:
    rate = standard_rate(country, day)
    if rate is None:
        note = texts.TAX_UNKNOWN.format(country=country or "an unknown country", shop=shop)
        return Footing(note=note, unknown=True)
    note = texts.TAX_ADDED.format(percent=f"{rate.normalize():f}", country=country)
    return Footing(1 + Fraction(rate) / 100, note)


def _move_tax(country: str | None, destination: str, day: date, shop: str) -> Footing:
    start, end = standard_rate(country, day), standard_rate(destination, day)
    if start is None or end is None:
        missing = destination if end is None else country or "an unknown country"
        return Footing(note=texts.TAX_UNKNOWN.format(country=missing, shop=shop), unknown=True)
    factor = (1 + Fraction(end) / 100) / (1 + Fraction(start) / 100)
    return Footing(factor, texts.TAX_MOVED.format(start=country, end=destination))
