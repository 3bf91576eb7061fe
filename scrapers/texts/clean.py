"""One plain form for the many ways in which a page writes digits, spaces and marks."""

from __future__ import annotations

import html
import re
import unicodedata
from typing import Final

# Decides nothing by itself: a mark that can only be a decimal sign.
POINT: Final = "\u066b"

_MARKS: Final = str.maketrans(
    {
        "\u2019": "'",  # right single quotation mark, Swiss grouping
        "\u2018": "'",
        "\u02bc": "'",
        "\u00b4": "'",
        "\u02b9": "'",
        "`": "'",
        "\u066c": "'",  # Arabic thousands separator
        "\u060c": ",",  # Arabic comma
        "\u2e41": ",",  # reversed comma of the Adlam digits
        "\u066a": "%",
        "\u2212": "-",
        "\u2011": "-",
        "\u2010": "-",
        "\u2044": "/",
    }
)
_SUPERSCRIPT: Final = dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789", strict=True))
_RAISED: Final = re.compile(r"(\d|(?<![\dmM]))([⁰¹²³⁴-⁹]+)")
_MIDDLE: Final = re.compile(r"(?<=\d)[\u00b7\u2027](?=\d)")
_APART: Final = re.compile(r"(?<=\d) ([.,]) (?=\d\d(?!\d))")
_LOOSE: Final = re.compile(
    r"(?<=\d) +(?=[.,]\d\d(?!\d))|(?<=\d\.) +(?=\d\d(?![\d.,]))"
    r"|(?<=\d,) +(?=\d\d ?(?:$|[€£$₺]|EUR|CHF|TL|zł|Kč|kr|lei))"
)
_SPLIT: Final = re.compile(
    r"((?:[€£$]|EUR|CHF|USD|kr\.?|R\$)? ?)(\d{1,4}) (\d\d)"
    r"( ?(?:[€£$]|EUR|CHF|USD|zł|kr\.?|Kč|lei)?[ *]*)"
)
# Letters and signs that need no folding: Latin, Greek, Cyrillic, euro, the spaces that split.
_PLAIN: Final = re.compile(
    r"[ -_a-~\xa0£¥\xa7\xbf-\u017f\u0386-\u03ce\u0400-\u045f\u2009\u202f\u2013\u20ac\s]*"
)
# Most texts are as they should be: none of those spaces, no two together, none at an end.
_TIDY: Final = re.compile(
    r"{0}++(?: {0}++)*+".format(
        r"[!-%'-;=-_a-~£¥\xa7\xbf-\u017f\u0386-\u03ce\u0400-\u045f\u2013\u20ac]"
    )
)
_SPLIT_STARTS: Final = frozenset("€£$ECUkR 0123456789")
_SPOKEN: Final = re.compile(
    r"(\d{1,5}) ?(euros?|€|dollars?|pounds?|franken) (?:und |and |et )?(\d\d?) ?"
    r"(?:cents?|ct|pence|rappen)(?![^\W_])",
    re.IGNORECASE,
)
_SMALL_COINS: Final = ("cent", "cents", "ct", "pence", "rappen")
_COIN_ENDS: Final = frozenset("tsenTSEN")
MAX_SPLIT: Final = 24
_TAG: Final = re.compile(r"</?[a-zA-Z][^<>]{0,200}>")


def overridden(text: str) -> bool:
    """Whether a bidi override makes the text look other than it is (UAX #9)."""
    return "\u202d" in text or "\u202e" in text


def _raised(found: re.Match[str]) -> str:
    """Raised digits after a number: two are cents ("12⁹⁹"), others a footnote."""
    raised = found[2]
    if len(raised) != 2 or not found[1]:
        return found[1]
    return found[1] + POINT + "".join(_SUPERSCRIPT[sign] for sign in raised)


def _unicode(text: str) -> str:
    raised = _RAISED.sub(_raised, text.translate(_MARKS))
    plain = unicodedata.normalize("NFKC", raised).translate(_MARKS)
    kept = "".join(
        str(unicodedata.decimal(sign)) if sign.isdecimal() else sign
        for sign in plain
        if unicodedata.category(sign) not in {"Cf", "Cc"} or sign in "\t\n\r"
    )
    return _MIDDLE.sub(POINT, kept)


def _unspoken(found: re.Match[str]) -> str:
    """`12 Euro 99 Cent` with a decimal sign."""
    return f"{found[1]}{POINT}{found[3]:0>2} {found[2]}"


def _unsplit(text: str) -> str:
    """A price cut into whole and fraction spans ("$12 99") put together."""
    found = _SPLIT.fullmatch(text)
    if found and (found[1].strip() or found[4].strip(" *")):
        return f"{found[1]}{found[2]}{POINT}{found[3]}{found[4]}"
    return text


def _tidied(text: str) -> str:
    if "&" in text:
        text = html.unescape(text)
    if "<" in text:
        text = _TAG.sub(" ", text)
    if _PLAIN.fullmatch(text) is None:
        text = _unicode(text)
    return " ".join(text.split())


def clean(text: str) -> str:
    """`text` with ASCII digits, single plain spaces, plain marks, no entities or format signs."""
    if _TIDY.fullmatch(text) is None:
        text = _tidied(text)
    if " " not in text:
        return text
    if " ." in text or " ," in text or ". " in text or ", " in text:
        if " . " in text or " , " in text:
            text = _APART.sub(r"\1", text)
        text = _LOOSE.sub("", text)
    if text[-1] in _COIN_ENDS and text[-6:].casefold().endswith(_SMALL_COINS):
        return _SPOKEN.sub(_unspoken, text, count=1)
    return _unsplit(text) if text[0] in _SPLIT_STARTS and len(text) <= MAX_SPLIT else text
