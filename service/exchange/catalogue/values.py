"""From what a catalogue file holds to exact values, one function a kind of value.

Each takes the raw TOML value and raises InputError with what is wrong and what
to write. A number with a fraction arrives as Decimal (never as float).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection
from datetime import date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any, Final, TypeVar
from urllib.parse import urlsplit

from scrapers import (
    Amount,
    Dimension,
    FetchError,
    Policy,
    UnitError,
    check_url,
    dimension,
    parse_amount,
    to_base,
)
from service.errors import InputError
from service.exchange.catalogue.countries import COUNTRIES
from service.model.money import Money, parse_currency

T = TypeVar("T")
Read = Callable[[Any], T]

MAX_DIGITS: Final = 12  # before and behind the decimal point
MANY: Final = 300
MINUTE: Final = timedelta(minutes=1)
_KEY: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_NUMBER: Final = re.compile(rf"[+-]?\d{{1,{MAX_DIGITS}}}(?:\.\d{{1,{MAX_DIGITS}}})?", re.ASCII)
_DURATION: Final = re.compile(
    r"(\d{1,8}) ?(s|sec|seconds?|min|minutes?|h|hours?|d|days?|w|weeks?|y|years?)", re.ASCII
)
_SECONDS: Final = {"s": 1, "m": 60, "h": 3600, "d": 86400, "w": 604800, "y": 31_536_000}
_PROMISE: Final = re.compile(r"\d{1,3}(?:-\d{1,3})?", re.ASCII)
_RANGE: Final = re.compile(r"(?P<low>[-\d.]*?)\s*\.\.\s*(?P<high>[-\d.]*)(?:\s*[^\d\s.]\S*)?")
_RULE: Final = re.compile(r"(?:css|json|re):\S.*", re.DOTALL)


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


def key(raw: Any) -> str:
    """A catalogue key: letters, digits, dot, hyphen and underscore."""
    if not isinstance(raw, str) or not _KEY.fullmatch(raw):
        raise InputError(
            f"{shown(raw)} cannot be a key; use letters, digits, hyphens, dots and underscores"
        )
    return raw


def one_of(*options: str) -> Read[str]:
    """A reader of one of a few words."""

    def read(raw: Any) -> str:
        if raw not in options:
            hint = nearest(raw, options) if isinstance(raw, str) else ""
            listed = ", ".join(f'"{option}"' for option in options)
            raise InputError(f"{shown(raw)} is none of {listed}{hint or '; write one of them'}")
        return str(raw)

    return read


def flag(raw: Any) -> bool:
    """TOML true or false."""
    if not isinstance(raw, bool):
        raise InputError(f"{shown(raw)} is not a yes or no; write true or false without quotes")
    return raw


def number(raw: Any) -> Decimal:
    """An exact number, bare or in quotes; at most 12 digits on either side of the point."""
    if isinstance(raw, bool) or not isinstance(raw, (int, str, Decimal)):
        raise InputError(f'{shown(raw)} is not a number; write it in quotes, such as "4.95"')
    if isinstance(raw, str):
        if not _NUMBER.fullmatch(raw.strip()):
            raise InputError(
                f"{shown(raw)} is not a number; write it with a decimal point, no grouping, "
                'such as "4.95"'
            )
        return Decimal(raw.strip())
    return _bounded(raw)


def _bounded(raw: int | Decimal) -> Decimal:
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
    if len(parts) != 2 or not _NUMBER.fullmatch(parts[0]):
        raise InputError(f'{shown(raw)} is not a price; write it like "7.90 EUR"')
    return Money(price(parts[0]), parse_currency(parts[1]))


def money(raw: Any) -> Money:
    """An amount above 0 with its currency: `"7.90 EUR"`."""
    found = sum_of_money(raw)
    if found.amount == 0:
        raise InputError(f"{shown(raw)} is no price; write an amount above 0")
    return found


def unit_price(raw: Any) -> tuple[Money, str]:
    """`"12.00 EUR/m"` -> the money and the unit it is for."""
    cost, slash, per = raw.partition("/") if isinstance(raw, str) else ("", "", "")
    if not slash:
        raise InputError(f'{shown(raw)} is not a price of a unit; write such as "12.00 EUR/m"')
    return money(cost.strip()), unit(per.strip())


def currency(raw: Any) -> str:
    """An ISO 4217 code."""
    if not isinstance(raw, str):
        raise InputError(f'{shown(raw)} is not a currency; write its ISO 4217 code, such as "EUR"')
    return parse_currency(raw)


def country(raw: Any) -> str:
    """An ISO 3166-1 alpha-2 code."""
    if not isinstance(raw, str) or raw not in COUNTRIES:
        hint = ' (the United Kingdom is "GB")' if raw == "UK" else ""
        raise InputError(
            f"{shown(raw)} is not a country; write its two-letter ISO 3166 code in capitals, "
            f'such as "NL"{hint}'
        )
    return str(raw)


def anywhere(raw: Any) -> str:
    """A country, or `*` for everywhere else."""
    return "*" if raw == "*" else country(raw)


def amount(raw: Any) -> Amount:
    """An amount as people write it; see `parse_amount`."""
    if not isinstance(raw, str):
        raise InputError(
            f'{shown(raw)} lacks a unit; write an amount in quotes, such as "4 pieces" or "0.5 m"'
        )
    try:
        return parse_amount(raw)
    except UnitError as error:
        raise InputError(str(error)) from None


def unit(raw: Any) -> str:
    """The key of a unit of the table, from its key or another usual word for it."""
    if not isinstance(raw, str):
        raise InputError(f'{shown(raw)} is not a unit; write such as "piece", "m", "m2" or "g"')
    try:
        return parse_amount(f"1 {raw}").unit if dimension(raw) else raw
    except UnitError as error:
        raise InputError(str(error)) from None


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


def duration(raw: Any) -> timedelta:
    """`"6h"`, `"2 d"`, `"30 min"`, `"1 year"` (365 days)."""
    found = _DURATION.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if found is None or not 0 < int(found[1]) * _SECONDS[found[2][0]] < 10**10:
        raise InputError(f'{shown(raw)} is not a time span; write such as "30 min", "6h" or "90 d"')
    return timedelta(seconds=int(found[1]) * _SECONDS[found[2][0]])


def at_least(span: timedelta, why: str) -> Read[timedelta]:
    """A reader of a time span not shorter than `span`."""

    def read(raw: Any) -> timedelta:
        value = duration(raw)
        if value < span:
            raise InputError(f"{shown(raw)} is too short; {why}")
        return value

    return read


def duration_text(span: timedelta) -> str:
    """The text that `duration` reads back, in the largest unit that divides it."""
    seconds = int(span.total_seconds())
    for name, size in (("d", 86400), ("h", 3600), ("min", 60)):
        if seconds % size == 0:
            return f"{seconds // size} {name}"
    return f"{seconds} s"


def day(raw: Any) -> date:
    """A TOML date, or the same in quotes."""
    if isinstance(raw, date) and not isinstance(raw, datetime):
        return raw
    try:
        return date.fromisoformat(raw)
    except (TypeError, ValueError):
        raise InputError(f"{shown(raw)} is not a day; write it like 2027-03-15") from None


def promise(raw: Any) -> str:
    """Days until delivery: `"3"` or `"2-4"`."""
    text = str(raw).strip() if not isinstance(raw, bool) else ""
    low, _, high = text.partition("-")
    if not _PROMISE.fullmatch(text) or (high and int(low) > int(high)):
        raise InputError(f'{shown(raw)} is not a number of days; write "3" or "2-4"')
    return text


def url(raw: Any) -> str:
    """A whole http or https URL in its normal form, without credentials or fragment.

    Which hosts may be asked is for the visit to judge, not for the catalogue.
    """
    if not isinstance(raw, str):
        raise InputError('must be a URL in quotes, such as "https://shop.example/"')
    try:
        host = urlsplit(raw).hostname or ""
        normal = check_url(raw, Policy(allow_hosts=frozenset({host})))
    except FetchError as error:
        raise InputError(f"{shown(raw)}: {error}") from None
    except ValueError:
        raise InputError(f"{shown(raw)} is not a URL; copy it from the browser") from None
    if "#" in raw:
        raise InputError(
            f"{shown(raw)} has a part behind #, which no shop is sent; leave it off "
            "(a variant is named by choice)"
        )
    return normal


def rule(raw: Any) -> str:
    """Where on the page a value stands: `css:`, `json:` or `re:` and what to look for."""
    if not isinstance(raw, str) or not _RULE.fullmatch(raw) or len(raw) > 500:
        raise InputError(
            f"{shown(raw)} is not a rule; write css:SELECTOR, json:PATH or re:PATTERN "
            "(at most 500 characters)"
        )
    return raw


def spec_value(raw: Any) -> str:
    """A specification value in its canonical text: 4 -> "4", 3.70 -> "3.7", true -> "true"."""
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, (int, Decimal)):
        return plain(_bounded(raw))
    return words(200)(raw)


def need_value(raw: Any) -> str:
    """Like `spec_value`; also a range of numbers (`"3000..3600"`, `"3000.."`) or `"a | b"`."""
    text = spec_value(raw)
    for one in text.split("|"):
        if ".." in one:
            _check_range(one.strip(), raw)
        elif not one.strip():
            raise InputError(f'{shown(raw)} lacks a value beside "|"; write such as "XT60 | XT90"')
    return text


def _check_range(text: str, raw: Any) -> None:
    found = _RANGE.fullmatch(text)
    ends = [number(end) for end in (found["low"], found["high"]) if end] if found else []
    if not ends or ends != sorted(ends):
        raise InputError(
            f'{shown(raw)} is not a range; write the smaller number first: "3000..3600", '
            '"3000.." or "..3600"'
        )


def density(raw: Any) -> Decimal:
    """g/ml: a number above 0, or `"1.13 g/ml"` (also g/cm3, kg/l)."""
    text = raw.strip() if isinstance(raw, str) else raw
    if isinstance(text, str):
        text = re.sub(r"\s*(?:g/ml|g/cm3|g/cm³|kg/l)$", "", text)
    return positive(text)


def areal_mass(raw: Any) -> Decimal:
    """g/m2: a number above 0, or `"160 g/m2"`, `"4.7 oz/yd2"`."""
    if not isinstance(raw, str) or _NUMBER.fullmatch(raw.strip()):
        return positive(raw)
    found = amount(raw)
    if dimension(found.unit) is not Dimension.AREAL_MASS:
        raise InputError(f'{shown(raw)} is not a mass by area; write such as "160 g/m2"')
    return to_base(found)


def is_gtin(text: str) -> bool:
    """GTIN-8, -12, -13 or -14 with its check digit (GS1 General Specifications 7.9)."""
    if not (text.isascii() and text.isdigit() and len(text) in (8, 12, 13, 14)):
        return False
    digits = [int(sign) for sign in reversed(text)]
    return (sum(digits[::2]) + 3 * sum(digits[1::2])) % 10 == 0
