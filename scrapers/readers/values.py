"""Amounts, currencies and identifiers as markup states them, read strictly."""

from __future__ import annotations

import html
import re
import unicodedata
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, NamedTuple

from scrapers.texts import is_currency, read_price
from scrapers.texts import minor_units as _minor_units

_PLAIN = re.compile(r"\d{1,12}(?:\.\d{1,10})?\Z", re.ASCII)
_CODE = re.compile(r"[A-Z]{3}\Z")
_GTIN = re.compile(r"\d{8}|\d{12,14}\Z", re.ASCII)
_CONTROLS = re.compile(
    r"[\x00-\x1f\x7f-\x9f\ud800-\udfff\u200b-\u200f\u202a-\u202e\u2066-\u2069\ufeff]+"
)
_MARKS = re.compile(r"([\u0300-\u036f]{4})[\u0300-\u036f]+")
MAX_TITLE = 300
MAX_PLACES = 4  # of a currency: ISO 4217 has units of account with four
_ODD_TEXT = re.compile(
    r"[\x00-\x08\x0e-\x1f\ufffd]|[^\W\d_]{9}"
)  # damage; words longer than a tax note's


class Value(NamedTuple):
    """An amount and, where it cannot be taken as it stands, the reason."""

    amount: Decimal | None
    currency: str | None = None
    doubt: str | None = None
    zero: bool = False


_NOTHING = Value(None)


def minor_units(currency: str | None) -> int:
    """Decimals of a currency by ISO 4217; 2 where it is unknown."""
    return _minor_units(currency) if currency and is_currency(currency) else 2


def currency_code(value: Any) -> str | None:
    """An ISO 4217 code out of "EUR", "eur", "€", "US$"; None where it says nothing."""
    if not isinstance(value, str) or not value.strip() or len(value) > 40:
        return None
    code = value.strip().upper()
    if _CODE.match(code):
        return code if is_currency(code) else None
    told = read_price(f"1 {value.strip()}")
    return told.currency if told else None


_BEYOND = Decimal(10) ** 15
_COINS = tuple(Decimal(1).scaleb(-places) for places in range(MAX_PLACES + 1))


def rounded(amount: Decimal, currency: str | None) -> Decimal:
    """The amount in the currency's minor units; half a unit goes up, as on a receipt.

    One of more digits than any price (a reward, a number run together) stays as it is.
    """
    if abs(amount) >= _BEYOND:
        return amount
    return amount.quantize(_COINS[minor_units(currency)], rounding=ROUND_HALF_UP)


def around(amount: Decimal, currency: str | None) -> tuple[Decimal, ...]:
    """The amount and its neighbours by the smallest coin: what rounding the net may have cost."""
    coin = _COINS[minor_units(currency)]
    if currency in _WHOLE:
        coin, amount = Decimal(1), amount.quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return amount - coin, amount, amount + coin


_WHOLE = frozenset({"HUF"})  # ISO 4217 has fillér, no shop does


def stated(value: Any, currency: str | None = None) -> Value:
    """A price property as markup holds it.

    schema.org 30.0, `price`: ASCII digits, "." as the decimal sign, nothing else.
    Text that breaks the rule is read as a visible price would be.
    """
    if value is None or isinstance(value, bool):
        return _NOTHING
    if isinstance(value, (int, Decimal)):
        value = format(value, "f") if not isinstance(value, int) else _digits(value)
    if not isinstance(value, str):
        return Value(None)
    text = value.strip()
    if _PLAIN.match(text):
        return _checked(Decimal(text), currency)
    return _loose(text, currency)


def _digits(value: int) -> str:
    return str(value) if abs(value) < 10**15 else "9" * 20


def _checked(amount: Decimal, currency: str | None) -> Value:
    if amount == 0:
        return Value(None, currency, "the price is 0", zero=True)
    if amount < 1 and rounded(amount, currency) == 0:
        return Value(None, currency, "the price is below the smallest coin")
    if minor_units(currency) == 0 and amount != amount.to_integral_value():
        return Value(None, currency, f"{currency} has no such fractions")
    return Value(amount, currency)


_NO_NUMBERS = frozenset({"nan", "inf", "infinity", "-inf", "-infinity"})


def _loose(text: str, currency: str | None) -> Value:
    odd = text.lower() in _NO_NUMBERS or (len(text) > 120 and text[:120].isdigit())
    if odd or not text or len(text) > 120 or not any(c.isdigit() for c in text):
        return Value(None, currency, "the price is no amount") if odd else Value(None)
    if text.startswith("-"):
        return Value(None, currency, "the price is negative")
    if _ODD_TEXT.search(text):
        return Value(None, currency, "the price cannot be read: other text stands in it")
    told = read_price(text, currency=currency)
    if told is None or (told.amount is None and not told.doubt):
        return Value(None)
    currency = told.currency or currency
    if told.amount is not None and told.low is None:
        return _checked(told.amount, currency)
    ranged = told.amount is not None
    why = "the price is a range" if ranged else f"the price cannot be read: {told.doubt}"
    return Value(None, currency, why)


def clean(value: Any, limit: int = MAX_TITLE) -> str | None:
    """One line of text: entities undone, controls and bidi marks out, NFC, at most `limit`."""
    if value is None:
        return None
    if isinstance(value, list):
        value = next((v for v in value if isinstance(v, str)), None)
    if isinstance(value, (int, Decimal)) and not isinstance(value, bool):
        value = str(value) if not isinstance(value, int) else _digits(value)
    if not isinstance(value, str):
        return None
    text = value[: limit * 8]
    if text.isascii() and text.isprintable() and "&" not in text and "  " not in text:
        return text[:limit].strip() or None
    if "&" in text:
        text = html.unescape(text)
    text = _MARKS.sub(r"\1", _CONTROLS.sub(" ", text))
    text = unicodedata.normalize("NFC", " ".join(text.split()))[:limit].strip()
    return text or None


_LABELLED = re.compile(
    r"(?:sku|mpn|upc|ean)(?:\s*[.:#]+\s*|\s+)|(?:item|model|part|product|art(?:icle|ikel)?)"
    r"[\s._-]*(?:(?:no|nr|num|number|code|nummer)\s*[.:#]*\s+|[.:#]+\s*)",
    re.IGNORECASE,
)


def number(value: Any) -> str | None:
    """An article number without the label that some themes print into it ("SKU: 4711")."""
    text = clean(value, 80)
    found = _LABELLED.match(text) if text else None
    return text[found.end() :] if text and found and found.end() < len(text) else text


def gtin(value: Any) -> str | None:
    """A GTIN-8, -12, -13 or -14 whose check digit is right, else None."""
    text = (clean(value, 20) or "").replace(" ", "").replace("-", "")
    if not _GTIN.fullmatch(text):
        return None
    body = [int(d) for d in text[:-1]][::-1]
    total = sum(d * (3 if i % 2 == 0 else 1) for i, d in enumerate(body))
    return text if (10 - total % 10) % 10 == int(text[-1]) else None


# an address names no brand, and some themes print a word for "none"
_NO_BRAND = re.compile(
    r"(?:https?:)?//|/|www\.|(?:n/?a|none|null|undefined|-+|no ?brand|unbranded|false|true)\Z",
    re.IGNORECASE,
)


def brand_name(value: Any) -> str | None:
    """A brand as markup or text names it; None for an address or a word that names none."""
    text = clean(value, 80)
    return None if text is None or _NO_BRAND.match(text) else text
