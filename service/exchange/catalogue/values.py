"""From what a catalogue file holds to exact values, one function a kind of value.

Each takes the raw TOML value and raises InputError with what is wrong and what
to write. A number with a fraction arrives as Decimal (never as float).
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from urllib.parse import urlsplit

from scrapers import (
    Amount,
    FetchError,
    Policy,
    UnitError,
    check_url,
    dimension,
    parse_amount,
)
from service.errors import InputError
from service.exchange.catalogue.numbers import (
    Read,
    T,
    bounded,
    fraction,
    fraction_text,
    money,
    nearest,
    number,
    percent,
    plain,
    positive,
    price,
    shown,
    sum_of_money,
    whole,
    words,
)
from service.model.countries import COUNTRIES
from service.model.money import Money, parse_currency

__all__ = [
    "MINUTE",
    "Read",
    "T",
    "amount",
    "anywhere",
    "at_least",
    "country",
    "currency",
    "day",
    "duration",
    "duration_text",
    "flag",
    "fraction",
    "fraction_text",
    "key",
    "money",
    "nearest",
    "need_value",
    "number",
    "one_of",
    "percent",
    "plain",
    "positive",
    "price",
    "promise",
    "rule",
    "shown",
    "spec_value",
    "sum_of_money",
    "unit",
    "unit_price",
    "url",
    "whole",
    "words",
]

MINUTE: Final = timedelta(minutes=1)
_KEY: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_DURATION: Final = re.compile(
    r"(\d{1,8}) ?(s|sec|seconds?|min|minutes?|h|hours?|d|days?|w|weeks?|mo|months?|y|years?)",
    re.ASCII,
)
_SECONDS: Final = {"s": 1, "m": 60, "h": 3600, "d": 86400, "w": 604800, "y": 31_536_000}
_MONTH: Final = 2_628_000  # a twelfth of 365 days
_PROMISE: Final = re.compile(r"\d{1,3}(?:-\d{1,3})?", re.ASCII)
_RANGE: Final = re.compile(r"(?P<low>[-\d.]*?)\s*\.\.\s*(?P<high>[-\d.]*)(?:\s*[^\d\s.]\S*)?")
_RULE: Final = re.compile(r"(?:css|json|re):\S.*", re.DOTALL)


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


def unit_price(raw: Any) -> tuple[Money, str]:
    """`"12.00 EUR/m"` -> the money and the unit it is for."""
    cost, slash, per = raw.partition("/") if isinstance(raw, str) else ("", "", "")
    if not slash:
        raise InputError(f'{shown(raw)} is not a price of a unit; write such as "12.00 EUR/m"')
    return money(cost.strip()), unit(per.strip())


def duration(raw: Any) -> timedelta:
    """`"6h"`, `"2 d"`, `"30 min"`, `"6 months"`, `"1 year"` (365 days)."""
    found = _DURATION.fullmatch(raw.strip()) if isinstance(raw, str) else None
    seconds = int(found[1]) * _seconds_of(found[2]) if found else 0
    if not 0 < seconds < 10**10:
        raise InputError(f'{shown(raw)} is not a time span; write such as "30 min", "6h" or "90 d"')
    return timedelta(seconds=seconds)


def _seconds_of(unit: str) -> int:
    return _MONTH if unit.startswith("mo") else _SECONDS[unit[0]]


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
    from scrapers import RuleError, SiteRules, check_rules  # noqa: PLC0415  loads the page parser

    try:
        check_rules(SiteRules(price=raw))
    except RuleError as error:
        raise InputError(str(error)) from None
    return raw


def spec_value(raw: Any) -> str:
    """A specification value in its canonical text: 4 -> "4", 3.70 -> "3.7", true -> "true"."""
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, (int, Decimal)):
        return plain(bounded(raw))
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
