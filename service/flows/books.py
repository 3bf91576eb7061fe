"""The books of a day, loaded: what was bought, used and is on hand, and what that means
for repricing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

from scrapers import format_amount
from service.builds import texts
from service.builds.amounts import shown_amount, unit_size
from service.builds.ledger import SizeOf
from service.builds.shelf import aged
from service.builds.view import Holding, Stock
from service.builds.workshop import Books, Convert, Happened, books, holdings, usable_stock
from service.flows.ports import Deps, Unit
from service.model.book import DISMISSED, RULES
from service.model.catalogue import Part
from service.model.money import Money, Rates


@dataclass(frozen=True, slots=True)
class Own:
    """What the user has and has said, for a view of prices."""

    on_hand: Mapping[str, Stock]
    holdings: Mapping[str, tuple[Holding, ...]]
    notes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    dismissed: frozenset[str] = frozenset()
    companion_rules: str = ""


def happened(unit: Unit) -> Happened:
    """Everything that was booked."""
    return Happened(
        unit.purchases.all(cancelled=True),
        unit.orders.all(),
        unit.orders.bills(),
        unit.workshop.movements(),
        unit.workshop.offcuts(),
    )


def books_at(unit: Unit, deps: Deps, day: date) -> Books:
    """The books at the end of a day in the user's currency."""
    convert = _converter(unit, deps.currency)
    return books(happened(unit), day, deps.currency, convert, _size_of(unit))


def _size_of(unit: Unit) -> SizeOf:
    """Base units in a part's own unit; parts are loaded only where there is something to tell."""
    parts: dict[str, Part] = {}

    def size(key: str) -> Fraction:
        if not parts:
            parts.update(unit.catalogue.parts())
        return unit_size(parts[key]) if key in parts else Fraction(1)

    return size


def _converter(unit: Unit, currency: str) -> Convert:
    """At the reference rates of each day, which are asked for only where they are needed."""
    known: dict[date, Rates] = {}

    def convert(money: Money, on: date) -> Decimal | None:
        if money.currency == currency:
            return money.amount
        if on not in known:
            known[on] = unit.rates.rates(on)
        return known[on].convert(money, currency)

    return convert


def day_of(at: datetime, deps: Deps) -> date:
    """The calendar day of an instant in the settings' zone."""
    return at.astimezone(ZoneInfo(deps.time_zone)).date()


def own(unit: Unit, deps: Deps, at: datetime, parts: Mapping[str, Part]) -> Own:
    """What repricing at `at` may count on, and what there is to say about it."""
    found = books_at(unit, deps, day_of(at, deps))
    return Own(
        usable_stock(found, parts),
        holdings(found, parts),
        _notes(found, parts),
        _dismissed(unit),
        unit.setting(RULES) or "",
    )


def _dismissed(unit: Unit) -> frozenset[str]:
    return frozenset(
        f"{name.removeprefix(DISMISSED)}/{rule}"
        for name, text in unit.settings(DISMISSED).items()
        for rule in json.loads(text)
    )


def _notes(found: Books, parts: Mapping[str, Part]) -> dict[str, tuple[str, ...]]:
    said = {key: list(lines) for key, lines in found.statement.short.items()}
    old = aged(parts.values(), found.statement, found.day, found.good)
    for key, amount in old.items():
        shown = format_amount(shown_amount(amount, parts[key]))
        text = texts.AGED.format(amount=shown, part=key)
        said.setdefault(key, []).append(f"{text}; {texts.AGED_DO.format(part=key)}")
    return {key: tuple(lines) for key, lines in said.items()}
