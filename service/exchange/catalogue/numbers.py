"""Exact numbers, money and parts of a whole from raw catalogue values."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any, Final, TypeVar

from service.errors import InputError
from service.model.money import Money, parse_currency

T = TypeVar("T")
Read = Callable[[Any], T]

MAX_DIGITS: Final = 12  # before and behind the decimal point
MANY: Final = 300
NUMBER: Final = re.compile(rf"[+-]?\d{{1,{MAX_DIGITS}}}(?:\.\d{{1,{MAX_DIGITS}}})?", re.ASCII)


def shown(raw: object) -> str:
    """The raw value as a message quotes it, cut short."""
    text = str(raw)
    return f'"{text[:60]}..."' if len(text) > 60 else f'"{text}"'


def plain(value: Decimal) -> str:
    """Without exponent and trailing zeros: 1.50 -> 1.5, 2E+2 -> 200."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def nearest(word: str, known: Collection[str]) -> str:
    """`; did you mean "x"?` where one of `known` is close to `word`, else nothing.

    Of many only those that begin alike are compared, so that a long list of errors stays quick.
    """
    near = known if len(known) <= MANY else [one for one in known if one[:2] == word[:2]][:MANY]
    found = get_close_matches(word[:200], near, 1, 0.6)
    return f'; did you mean "{found[0]}"?' if found else ""


def words(limit: int = 300, *, lines: bool = False) -> Read[str]:
    """A reader of text up to `limit` characters, without control characters."""

    def read(raw: Any) -> str:
        if not isinstance(raw, str) or not raw.strip():
            raise InputError('must be text in quotes, such as "..."')
        if len(raw) > limit:
            raise InputError(f"is longer than {limit} characters; shorten it")
        allowed = "\n\t" if lines else ""
        if any(unicodedata.category(c) in ("Cc", "Cs") and c not in allowed for c in raw):
            raise InputError("holds a control character; remove it")
        return raw.strip()

    return read


def number(raw: Any) -> Decimal:
    """An exact number, bare or in quotes; at most 12 digits on either side of the point."""
    if isinstance(raw, bool) or not isinstance(raw, (int, str, Decimal)):
        raise InputError(f'{shown(raw)} is not a number; write it in quotes, such as "4.95"')
    if isinstance(raw, str):
        if not NUMBER.fullmatch(raw.strip()):
            raise InputError(
                f"{shown(raw)} is not a number; write it with a decimal point, no grouping, "
                'such as "4.95"'
            )
        return Decimal(raw.strip())
    return bounded(raw)


def bounded(raw: int | Decimal) -> Decimal:
    """The number as Decimal, where it has at most 12 digits on either side of the point."""
    try:
        value = Decimal(raw)
        fits = value.is_finite() and value.adjusted() < MAX_DIGITS
    except InvalidOperation:
        fits = False
    if not fits or -int(value.as_tuple().exponent) > MAX_DIGITS:
        raise InputError(f"is no usable number; write at most {MAX_DIGITS} digits each side")
    return value


def positive(raw: Any) -> Decimal:
    """A number above 0."""
    value = number(raw)
    if value <= 0:
        raise InputError(f"{shown(raw)} is not more than nothing; write a number above 0")
    return value


def whole(low: int, high: int) -> Read[int]:
    """A reader of a whole number from `low` to `high`."""

    def read(raw: Any) -> int:
        value = number(raw)
        if value != value.to_integral_value() or not low <= value <= high:
            raise InputError(f"{shown(raw)} is not a whole number from {low} to {high}")
        return int(value)

    return read


def price(raw: Any) -> Decimal:
    """An amount of money without its currency: not negative, at most four decimals."""
    if isinstance(raw, str) and re.search(r"[^\d.\s+-]", raw):
        raise InputError(
            f"{shown(raw)} is not a plain number; leave the currency off (it is the supplier's or "
            'the build\'s) and write such as "4.95"'
        )
    value = number(raw)
    if value < 0:
        raise InputError(f"{shown(raw)} is negative; write 0 or more")
    if value != round(value, 4):
        raise InputError(f"{shown(raw)} has more than four decimals; money is kept to four")
    return value


def sum_of_money(raw: Any) -> Money:
    """An amount with its currency, 0 allowed (a gift): `"7.90 EUR"`."""
    parts = raw.split() if isinstance(raw, str) else []
    if len(parts) != 2 or not NUMBER.fullmatch(parts[0]):
        raise InputError(f'{shown(raw)} is not a price; write it like "7.90 EUR"')
    return Money(price(parts[0]), parse_currency(parts[1]))


def money(raw: Any) -> Money:
    """An amount above 0 with its currency: `"7.90 EUR"`."""
    found = sum_of_money(raw)
    if found.amount == 0:
        raise InputError(f"{shown(raw)} is no price; write an amount above 0")
    return found


def fraction(raw: Any) -> Decimal:
    """`"15 %"` -> 0.15; above 0, at most 100 %. A bare number from 0 to 1 is taken as it is."""
    text = raw.strip() if isinstance(raw, str) else raw
    if isinstance(text, str) and text.endswith("%"):
        value = number(text[:-1].strip()).scaleb(-2)
    else:
        value = number(text)
    if not 0 < value <= 1:
        raise InputError(f'{shown(raw)} is not a percentage from 0 to 100; write such as "15 %"')
    return value


def fraction_text(value: Decimal) -> str:
    """The text that `fraction` reads back."""
    return f"{plain(value.scaleb(2))} %"


def percent(raw: Any) -> Decimal:
    """`"1.5 %"` -> 1.5."""
    return fraction(raw).scaleb(2)
