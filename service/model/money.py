"""Exact money: `Decimal` with an ISO 4217 currency, and exchange rates with their day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

from scrapers import is_currency, minor_units
from service.errors import InputError


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in one currency; never mixed with another without a rate."""

    amount: Decimal
    currency: str

    def __str__(self) -> str:
        return f"{money_text(self.amount, self.currency)} {self.currency}"


def quantum(currency: str) -> Decimal:
    """The smallest step of a currency, from its ISO 4217 minor units: EUR 0.01, JPY 1."""
    return Decimal(1).scaleb(-minor_units(currency))


def round_money(amount: Decimal, currency: str) -> Decimal:
    """To the currency's minor units, halves away from zero (Regulation (EC) 1103/97 Art. 5)."""
    return amount.quantize(quantum(currency), rounding=ROUND_HALF_UP)


def money_text(amount: Decimal, currency: str) -> str:
    """Decimal point, no grouping, at least the currency's minor units, never fewer digits."""
    rounded = round_money(amount, currency)
    return f"{rounded if rounded == amount else amount.normalize():f}"


def parse_money(text: str) -> Money:
    """`"7.90 EUR"` -> Money. InputError says what to write."""
    parts = text.split()
    hint = f'"{text}" is not a price: write it like "7.90 EUR"'
    if len(parts) != 2:
        raise InputError(hint)
    return Money(parse_decimal(parts[0], hint), parse_currency(parts[1]))


def parse_decimal(text: str, hint: str) -> Decimal:
    """ASCII digits with a decimal point, no grouping. InputError carries `hint`."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise InputError(hint) from None
    if not text.isascii() or "_" in text or not value.is_finite():
        raise InputError(hint)
    return value


def parse_currency(code: str) -> str:
    """An ISO 4217 code as written. InputError names the unknown one."""
    if not is_currency(code):
        raise InputError(f'"{code}" is not a currency: write its ISO 4217 code, for example EUR')
    return code


@dataclass(frozen=True, slots=True)
class Rate:
    """How many units of a currency one euro buys, and the day that says so."""

    value: Decimal
    day: date


@dataclass(frozen=True, slots=True)
class Rates:
    """Reference rates known on one day, by currency; EUR itself is always 1."""

    by_currency: Mapping[str, Rate] = field(default_factory=dict)

    def rate(self, source: str, target: str) -> Rate | None:
        """Units of `target` for one unit of `source`, with the older of the two days.

        A cross rate is the quotient of the two euro rates, never an inverse
        rate (Regulation (EC) 1103/97 Art. 4). None: one of them is unknown.
        """
        if source == target:
            return Rate(Decimal(1), date.max)
        start, end = self._of(source), self._of(target)
        if start is None or end is None:
            return None
        return Rate(end.value / start.value, min(start.day, end.day))

    def convert(self, money: Money, target: str) -> Decimal | None:
        """Unrounded, in `target`; None where no rate is known."""
        if money.currency == target:
            return money.amount
        start, end = self._of(money.currency), self._of(target)
        if start is None or end is None:
            return None
        return money.amount * end.value / start.value

    def _of(self, currency: str) -> Rate | None:
        if currency == "EUR":
            return Rate(Decimal(1), date.max)
        return self.by_currency.get(currency)
