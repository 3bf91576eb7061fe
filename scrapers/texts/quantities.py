"""Numbers of amounts as people write them, and the folded form that patterns read.

A point is a decimal sign; a comma too, except before three digits, where it may group
and is asked about. Fractions ("1/2", "1 1/2", "½") are read exactly.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from typing import Final

from scrapers.errors import UnitError

_NUMBER: Final = re.compile(
    r"(?P<whole>\d{1,9})[ -]?(?P<over>\d{1,4}) ?/ ?(?P<under>\d{1,4})(?![\d.,])"
    r"|(?P<top>\d{1,4}) ?/ ?(?P<bottom>\d{1,4})(?![\d.,])"
    r"|(?P<plain>[+-]?(?:\d{1,3}(?:[ '\u2019]\d{3})+(?:[.,]\d+)?|\d*[.,]?\d+(?:[.,]\d+)*))"
)
_MIXED: Final = re.compile(r"(\d{1,9})[ -](\d{1,4}) ?/ ?(\d{1,4})(?![\d.,])")
_SUPERSCRIPT: Final = str.maketrans(
    {"²": "2", "³": "3", "″": '"', "”": '"', "\u2032": "'", "\u2044": "/"}
)


def fold(text: str) -> str:
    """NFKC, lower case, single spaces, plain signs: the form that the patterns read."""
    spaced = re.sub(r"(?<=\d)(?=[¼½¾⅐-⅞])", " ", text)
    marked = spaced.translate(_SUPERSCRIPT).replace("\u00ad", "").replace("\u200b", "")
    plain = unicodedata.normalize("NFKC", marked).casefold().translate(_SUPERSCRIPT)
    plain = plain.replace("\u2212", "-").replace("ß", "ss")
    return " ".join(plain.split())


def _fraction(whole: str, over: str, under: str) -> Decimal:
    if int(under) == 0:
        raise UnitError(f"'{over}/{under}' divides by nothing: write the amount as a decimal")
    return Decimal(whole or 0) + Decimal(over) / Decimal(under)


def _decimal(text: str) -> Decimal:
    """A plain number with a decimal point or comma and optional grouping."""
    packed = re.sub(r"[ '\u2019]", "", text)
    marks = [sign for sign in packed if sign in ".,"]
    if len(set(marks)) == 2:
        packed = packed.replace(marks[0], "", len(marks) - 1)
        marks = [sign for sign in packed if sign in ".,"]
    if len(marks) > 1:
        if not re.fullmatch(r"[+-]?\d{1,3}([.,]\d{3})+", packed):
            raise UnitError(f"'{text}' is no number: write it with one decimal point")
        return Decimal(re.sub(r"[.,]", "", packed))
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", packed):
        raise UnitError(
            f"'{text}' may be {packed.replace(',', '')} or {packed.replace(',', '.')}: "
            "write one of these"
        )
    return Decimal(packed.replace(",", "."))


def leading_number(text: str) -> tuple[Decimal, str] | None:
    """The number that folded `text` begins with, and the rest. None where there is none."""
    mixed = _MIXED.match(text)
    if mixed:
        return _fraction(*mixed.groups()), text[mixed.end() :].strip()
    found = _NUMBER.match(text)
    if found is None:
        return None
    rest = text[found.end() :].strip()
    if found["top"]:
        return _fraction("", found["top"], found["bottom"]), rest
    if found["plain"]:
        return _decimal(found["plain"]), rest
    return _decimal(found["whole"] + found["over"]) / Decimal(found["under"]), rest


def plain(value: Decimal) -> str:
    """Without exponent and trailing zeros: 1.50 -> 1.5, 2E+2 -> 200."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
