"""Markup that counts in cents: the page prints the hundredth of its price, and never the price."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from scrapers.model import Evidence, Source
from scrapers.readers import visible
from scrapers.readers.said import prints
from scrapers.readers.values import minor_units
from scrapers.reconcile.court import Court, Verdict

LEAST = 100
_MARKUP = frozenset({Source.JSONLD, Source.MICRODATA, Source.RDFA, Source.META})


def in_cents(
    text: Callable[[], str], verdict: Verdict, view: visible.View, court: Court
) -> Verdict:
    """The price in the currency's units where sight shows it only so."""
    price = verdict.price
    if price is None or verdict.source not in _MARKUP or court.shown.now is not None:
        return verdict
    whole = price == price.to_integral_value() and price >= LEAST
    if not whole or minor_units(verdict.currency) != 2:
        return verdict
    shown = None if prints(text(), price) else prints(text(), price / 100)
    if shown is None:
        return verdict
    view.proofs = (*view.proofs, Evidence("visible", "price", shown, ""))
    return replace(
        verdict, price=price / 100, list_price=_cut(verdict.list_price), low=_cut(verdict.low),
        high=_cut(verdict.high), note="the markup counts in cents",
    )  # fmt: skip


def _cut(amount: Decimal | None) -> Decimal | None:
    return None if amount is None else amount / 100
