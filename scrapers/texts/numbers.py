"""What number a cleaned run of digits and separators is. Undecidable stays undecided.

Facts used: no currency in ISO 4217 with two minor units writes three decimals
in a total, so "1.299 €" is grouped; the dinars of three minor units always
write all three (common practice). CLDR gives a locale's separators.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Final, NamedTuple

from scrapers.texts.clean import POINT

if TYPE_CHECKING:
    from scrapers.texts.locales import Style

MAX_DIGITS: Final = 12

_GROUPED: Final = re.compile(r"\d{1,3}(?:([.,' ])\d{3})(?:\1\d{3})*")
_INDIAN: Final = re.compile(r"\d{1,2}(?:,\d\d)+,\d{3}")
_PLAIN: Final = re.compile(r"[0-9]++(?:[.,][0-9][0-9])?")
_DIGITS: Final = re.compile(r"\D")


def _is_grouped(text: str) -> bool:
    return text.isdigit() or bool(_GROUPED.fullmatch(text) or _INDIAN.fullmatch(text))


def _joined(text: str) -> Decimal:
    return Decimal(_DIGITS.sub("", text) or "0")


def _pointed(whole: str, fraction: str) -> Decimal | None:
    if whole and not _is_grouped(whole):
        return None
    return Decimal(f"{_DIGITS.sub('', whole) or '0'}.{fraction}")


class Hints(NamedTuple):
    """What is known beside the digits.

    `minor`: decimal places of the currency. `style`: the locale's separators. `unit`: a price
    per unit, which may have more decimals than the currency. `points`: the currency's
    countries write a decimal point only.
    """

    minor: int | None = None
    style: Style | None = None
    unit: bool = False
    points: bool = False

    def told(self, mark: str) -> str:
        """What the locale says a mark is: "point", "group", or "" where it says nothing."""
        if self.style is None:
            return ""
        if mark == self.style.decimal:
            return "point"
        return "group" if mark == self.style.group else ""


NOTHING: Final = Hints()


def _three(whole: str, mark: str, hints: Hints) -> str:
    """Whether one mark before three digits groups or points: "group", "point" or ""."""
    if not whole or whole[0] == "0" or len(whole) > 3:
        return "point"
    told, minor = hints.told(mark), hints.minor
    if minor == 0:
        return "group"
    if minor == 3 and not told:
        return "point"
    if minor is None or minor > 2 or hints.unit:
        return told
    if told == "point" or (mark == "." and hints.points and told != "group"):
        return ""
    return "group"


def _single(raw: str, mark: str, hints: Hints) -> Decimal | None:
    whole, fraction = raw.split(mark)
    role = _three(whole, mark, hints) if len(fraction) == 3 else "point"
    if role == "point":
        return _pointed(whole, fraction)
    return _joined(raw) if role == "group" else None


def _spaced(raw: str, marks: list[str]) -> Decimal | None:
    """The last mark is a space or an apostrophe: grouping, or cents as in "12'90"."""
    if marks[-1] == "'" and marks.count("'") == 1 and raw[-3] == "'":
        return _pointed(*raw.rsplit("'", 1))
    return _joined(raw) if _GROUPED.fullmatch(raw) else None


def plain_number(raw: str) -> Decimal | None:
    """The number of the plainest forms, "12" and "12,90", which no hint changes."""
    return Decimal(raw.replace(",", ".")) if _PLAIN.fullmatch(raw) else None


def read_number(raw: str, hints: Hints = NOTHING) -> Decimal | None:
    """The number that `raw` (cleaned) is, or None where its separators do not decide."""
    if raw.isdigit():
        return Decimal(raw)
    marks = _DIGITS.findall(raw)
    last = marks[-1]
    if ":" in marks:
        return None
    if last in "' ":
        return _spaced(raw, marks)
    if len(marks) == 1 and last != POINT:
        return _single(raw, last, hints)
    if marks.count(last) > 1:
        return _joined(raw) if _is_grouped(raw) else None
    return _pointed(*raw.rsplit(last, 1))
