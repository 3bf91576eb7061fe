"""What number a cleaned run of digits and separators is. Undecidable stays undecided.

Facts used: no currency in ISO 4217 with two minor units writes three decimals
in a total, so "1.299 €" is grouped; the dinars of three minor units always
write all three (common practice). CLDR gives a locale's separators.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final

from scrapers.texts.clean import POINT
from scrapers.texts.locales import Style

MAX_DIGITS: Final = 12

_GROUPED: Final = re.compile(r"\d{1,3}(?:([.,' ])\d{3})(?:\1\d{3})*")
_INDIAN: Final = re.compile(r"\d{1,2}(?:,\d\d)+,\d{3}")
_DIGITS: Final = re.compile(r"\D")


def _is_grouped(text: str) -> bool:
    return text.isdigit() or bool(_GROUPED.fullmatch(text) or _INDIAN.fullmatch(text))


def _joined(text: str) -> Decimal:
    return Decimal(_DIGITS.sub("", text) or "0")


def _pointed(whole: str, fraction: str) -> Decimal | None:
    if whole and not _is_grouped(whole):
        return None
    return Decimal(f"{_DIGITS.sub('', whole) or '0'}.{fraction}")


def _three(raw: str, mark: str, minor: int | None, style: Style | None, unit: bool) -> str:
    """Whether one mark before three digits groups or points: "group", "point" or ""."""
    whole = raw.split(mark)[0]
    if not whole or whole[0] == "0" or len(whole) > 3:
        return "point"
    told = _told(mark, style)
    if minor == 0:
        return "group"
    if minor == 3 and not told:
        return "point"
    if minor is None or minor > 2 or unit:
        return told
    return "" if told == "point" else "group"


def _told(mark: str, style: Style | None) -> str:
    if style is None:
        return ""
    if mark == style.decimal:
        return "point"
    return "group" if mark == style.group else ""


def _single(
    raw: str, mark: str, minor: int | None, style: Style | None, *, unit: bool, points: bool
) -> Decimal | None:
    whole, fraction = raw.split(mark)
    if len(fraction) != 3:
        return _pointed(whole, fraction)
    role = _three(raw, mark, minor, style, unit)
    if role == "group" and mark == "." and points and _told(mark, style) != "group":
        return None
    if role == "point":
        return _pointed(whole, fraction)
    return _joined(raw) if role == "group" else None


def read_number(
    raw: str,
    minor: int | None = None,
    style: Style | None = None,
    *,
    unit: bool = False,
    points: bool = False,
) -> Decimal | None:
    """The number that `raw` (cleaned) is, or None where its separators do not decide.

    `minor`: decimal places of the currency, None if unknown. `unit`: a price per unit,
    which may have more decimals than the currency. `points`: the currency's countries
    write a decimal point only.
    """
    marks = _DIGITS.findall(raw)
    if not marks:
        return Decimal(raw)
    last = marks[-1]
    if ":" in marks:
        return None
    if last in "' ":
        return _joined(raw) if _GROUPED.fullmatch(raw) else None
    if marks.count(last) > 1:
        return _joined(raw) if _is_grouped(raw) else None
    if last == POINT or len(marks) > 1:
        whole, fraction = raw.rsplit(last, 1)
        return _pointed(whole, fraction)
    return _single(raw, last, minor, style, unit=unit, points=points)
