"""What several views need: prices per measure, doubts, how long a price was not lower."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from scrapers import format_amount
from service.builds.amounts import base_unit, unit_size
from service.builds.offers import Market, Quote
from service.flows.ports import Doubt, ListingState, Unit
from service.model.catalogue import Listing, Part, Supplier
from service.model.money import money_text, round_money
from service.model.prices import Spell
from service.model.times import time_text

CELL_VOLTS = Decimal("3.7")  # nominal volts of a lithium-polymer cell; common practice
WORTH_A_TAG = 30  # days a price must have been no lower for the sheet to say so
MICRO = Decimal("0.000001")


def money(value: Fraction | Decimal | None, currency: str) -> str | None:
    """Rounded to the currency, as text."""
    if value is None:
        return None
    exact = decimal(value) if isinstance(value, Fraction) else value
    return money_text(round_money(exact, currency), currency)


def decimal(value: Fraction) -> Decimal:
    """To six places, which is finer than any page shows."""
    return (Decimal(value.numerator) / value.denominator).quantize(MICRO, ROUND_HALF_UP)


def measure_of(part: Part) -> tuple[str, Fraction]:
    """`(unit, how many of them one base unit of the part is)` to compare parts by.

    Batteries by Wh (cells x 3.7 V x Ah), mass by kg, controllers by A, the rest by
    what they are counted in.
    """
    spec = part.spec
    if (cells := _number(spec, "cells")) and (charge := _number(spec, "capacity_mAh")):
        return "Wh", Fraction(cells * CELL_VOLTS * charge / 1000)
    if part.unit in {"g", "kg"}:
        return "kg", Fraction(1, 1000)
    if part.unit in {"ml", "l"}:
        return "l", Fraction(1, 1000)
    if part.unit in {"piece", "pair"} and (amps := _number(spec, "amps")):
        return "A", Fraction(amps)
    if part.unit in {"cm", "mm", "cm2", "mm2"}:
        return base_unit(part), Fraction(1)
    return part.unit, 1 / unit_size(part)


def _number(spec: Mapping[str, str], name: str) -> Decimal | None:
    try:
        value = Decimal(spec.get(name, ""))
    except InvalidOperation:
        return None
    return value if value.is_finite() and value > 0 else None


def per_measure(quote: Quote) -> Fraction:
    """Price of one natural unit, bought in the least quantity."""
    return quote.per_unit(Fraction(0)) / measure_of(quote.part)[1]


def per_own_unit(quote: Quote) -> Fraction:
    """Price of one unit of the part (a pair, a foot), bought in the least quantity."""
    return quote.per_unit(Fraction(0)) * unit_size(quote.part)


def listing_row(
    listing: Listing,
    quotes: Mapping[int, Quote],
    states: Mapping[int, ListingState],
    doubts: Mapping[int, Doubt],
    suppliers: Mapping[str, Supplier],
    currency: str,
) -> dict[str, Any]:
    """One line of a part's "where it is sold"."""
    quote, state = quotes.get(listing.id), states.get(listing.id)
    shop = suppliers.get(listing.supplier)
    return {
        "listing": listing.key,
        "url": listing.url,
        "supplier": listing.supplier,
        "supplier_name": shop.name if shop else listing.supplier,
        "sold_as": [format_amount(supply.amount) for supply in listing.supplies],
        "choice": listing.choice,
        **_quoted(quote, currency),
        "outcome": state.last_outcome if state else None,
        "reason": state.last_reason if state else None,
        "visited_at": _time(state.last_visit_at if state else None),
        "next_due_at": _time(state.next_due_at) if state and listing.url else None,
        "evidence": [dict(item) for item in state.evidence] if state else [],
        "doubt": doubt_row(doubts.get(listing.id)),
    }


def _quoted(quote: Quote | None, currency: str) -> dict[str, Any]:
    names = ("price", "currency", "list_price", "availability", "tax", "per", "per_unit")
    if quote is None:
        return dict.fromkeys((*names, "seen_hours", "status", "rate", "rate_day"))
    offer = quote.offer
    return {
        "price": money_text(offer.price, offer.currency),
        "currency": offer.currency,
        "list_price": None if offer.list_price is None else money(offer.list_price, offer.currency),
        "availability": offer.availability.value,
        "tax": offer.tax.value,
        "per": fine(per_measure(quote), currency),
        "per_unit": measure_of(quote.part)[0],
        "seen_hours": round(quote.age.total_seconds() / 3600, 2),
        "status": quote.status,
        "rate": None if quote.rate == 1 else f"{decimal(quote.rate).normalize():f}",
        "rate_day": quote.rate_day.isoformat() if quote.rate_day and quote.rate != 1 else None,
    }


def fine(value: Fraction, currency: str) -> str:
    """A unit price: three figures at least, else cents."""
    exact = decimal(value)
    if exact >= 1 or exact == 0:
        return money_text(round_money(exact, currency), currency)
    places = 2 - exact.adjusted()
    return f"{exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):f}"


def doubt_row(doubt: Doubt | None) -> dict[str, Any] | None:
    """A reading that is kept aside."""
    if doubt is None:
        return None
    return {
        "at": _time(doubt.at),
        "reason": doubt.reason,
        "price": doubt.reading.get("price"),
        "currency": doubt.reading.get("currency"),
        "seen": doubt.seen,
    }


def _time(at: datetime | None) -> str | None:
    return None if at is None else time_text(at)


def days_not_lower(spells: Sequence[Spell], at: datetime) -> int | None:
    """For how many days the price was nowhere lower than now. None: it never was higher."""
    if not spells:
        return None
    now = spells[-1].offer
    alike = [s for s in spells if s.offer.currency == now.currency]
    if all(s.offer.price <= now.price for s in alike):
        return None
    lower = [s.last_seen for s in alike if s.offer.price < now.price]
    since = max(lower) if lower else alike[0].first_seen
    return (at - since).days


def by_listing(spells: Iterable[Spell]) -> dict[int, list[Spell]]:
    """Spells of each listing, in time order as they came."""
    found: dict[int, list[Spell]] = {}
    for spell in spells:
        found.setdefault(spell.listing, []).append(spell)
    return found


def doubts_of(unit: Unit, ids: Sequence[int]) -> dict[int, Doubt]:
    return {doubt.listing: doubt for doubt in unit.log.doubts(ids)}


def best_first(market: Market, part: Part) -> list[Quote]:
    """The part's quotes, usable ones first, cheapest a unit first."""
    order = {"priced": 0, "stale": 1, "doubtful": 2}
    quotes = market.quotes(part)
    return sorted(quotes, key=lambda q: (order.get(q.status, 3), q.per_unit(Fraction(0))))


def week_ago(now: datetime) -> datetime:
    return now - timedelta(days=7)
