"""Sums as pages write them: bare, beside a sign or a measure of their own, between two ends."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re

from scrapers.readers.pricelike import CURRENCY, MONEY, PRICE_LIKE
from scrapers.texts import is_currency

# an amount whose currency stands elsewhere: nothing but a label may lead it
_LONE = re.compile(r"(?:[^\d%]{0,24}[:\s\ufffd])?\d[\d.,'’\s\u00a0\u202f]*(?:,?[-–—])?\s*\*?\Z")
# an amount, not a percentage
SUM = re.compile(r"\d[\d.,'’\u00a0\u202f]*(?!\d)(?![\d.,]*\s?%)")
_BARE = re.compile(rf"(?:{MONEY}\s?)?\d[\d.,'’\u00a0\u202f]*(?:\s?{MONEY})?")
_TO = r"(?:[-–—~]|to|bis|à|au|tot|a|do|till|til|al|until|jusqu.à)(?![^\W\d_])"
UPPER_BEHIND = re.compile(rf"\s*{_TO}\s*(?:{MONEY}\s*)?\d", re.IGNORECASE)
DASHED = re.compile(r"[\s€$£]\s*[-–—]\s*\Z")  # "4,95 € - " and the upper end in the next element
TO_AHEAD = re.compile(rf"(?:^|\s){_TO}\s*[^\d\s]{{0,4}}\s*$", re.IGNORECASE)
# a currency in an element of its own right before or behind a bare amount
_SIGN_AHEAD = re.compile(rf"(?<!\d)(?<!\d\s)({MONEY})\s*\Z")
_SIGN_BEHIND = re.compile(rf"\s*({MONEY})(?![^\W\d_])(?!\s?\d)")
_CODE = re.compile(r"[A-Z]{3}")
# a measure with its number in the next element: "9,96 €" and "/ 100 ml"
_PER_BEHIND = re.compile(
    r"\s?(?:/|per|pro|je|par|al|por|za|le)\s?\d+(?:[.,]\d+)?\s?(?:k?g|mg|m?l|cl|dl|m[²³23]?|oz|lb)\b",
    re.IGNORECASE,
)
_SPACED = re.compile(r"(?<=\d) (?=\d{3}(?!\d))")  # "1 599"
_PERCENT = re.compile(r"\d+(?:[.,]\d+)?\s?%")


def is_lone(text: str) -> bool:
    """Whether the text is an amount without a currency."""
    return _LONE.match(text) is not None


def signed(text: str, before: str, after: str) -> str:
    """A bare amount with the currency that stands next to it; that of another amount is not."""
    if CURRENCY.search(text) or not is_lone(text):
        return text
    found = _SIGN_BEHIND.match(after) or _SIGN_AHEAD.search(before)
    word = found is not None and _CODE.fullmatch(found[1]) is not None
    return text if found is None or (word and not is_currency(found[1])) else f"{text} {found[1]}"


def measured(text: str, after: str) -> str:
    """The text with the measure that its amount is the price of, where that stands behind it."""
    found = _PER_BEHIND.match(after)
    return f"{text} {found[0].strip()}" if found else text


def bare(text: str) -> str | None:
    """The one amount of a text without its label ("Old price: 9.00"); None where there are more."""
    found = [m[0] for m in _BARE.finditer(text)]
    amounts = [f for f in found if PRICE_LIKE.search(f)] or found
    if len(amounts) != 1:
        return None
    code = amounts[0][:3]
    return amounts[0] if is_currency(code) or not code.isalpha() else amounts[0][3:]


def without_rates(text: str) -> str:
    """The text without its percentages, the thousands of its amounts closed up."""
    return _PERCENT.sub("", _SPACED.sub("", text))
