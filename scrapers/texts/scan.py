"""The numbers of a cleaned price text, with the currency and the "per unit" beside them."""

from __future__ import annotations

import re
from typing import Final

from scrapers.texts.currencies import SIGNS, is_everyday, symbol
from scrapers.texts.suffixes import is_idle, take
from scrapers.texts.tokens import ALONE, DOLLAR_SIGN, NUMBER, SIGN, Token

_PRE: Final = re.compile(
    rf"({DOLLAR_SIGN}|{SIGN}|S/\.?|[\u0600-\u06ff]\.[\u0600-\u06ff]\.?|(?<![^\W_])[^\W\d_]{{1,10}}\.?)[\s:]{{0,2}}(-?)\s?\.?$"
)
# One character tells whether a currency may stand before a number.
_LEADS: Final = frozenset(" \t\n:.-/$" + SIGNS)
_ENDS: Final = frozenset("$/" + SIGNS)
_PERCENT: Final = re.compile(r"\s?%")
_DOTS: Final = frozenset((".", ","))
_CODES, _WORDS = "EUR|CHF|USD|GBP", "Kč|zł|kr|TL|lei|Ft"
_SURE: Final = "".join(sorted(ALONE))
# A number with the plainest behind it: a sign that nothing else can be, and no number after it.
_AMOUNT: Final = re.compile(
    rf"({NUMBER.pattern})(?: ?([{_SURE}]|(?:{_CODES}|{_WORDS})(?![\w.-]))(?![0-9]))?"
)


def _before(token: Token, text: str, floor: int) -> None:
    """Take the currency before the number, where it is more than a sign."""
    start = token.start
    least = max(floor, start - 14)
    if _is_no_currency(text[least:start].rstrip(" :-.")):
        return
    found = _PRE.search(text, least, start)
    meant = symbol(found[1]) if found else None
    if found is None or meant is None:
        return
    written = found[1]
    token.negative, token.lead_digit = found[2] == "-", False
    if not (written[0].isalpha() and is_everyday(written[:3]) and token.is_whole):
        token.symbol, token.start = meant, found.start(1)


def _is_no_currency(text: str) -> bool:
    """Whether what stands before a number surely ends with no currency, as it mostly does."""
    last = text[-1:]
    if not (last.isalpha() or last in _ENDS):
        return True
    word = text[text.rfind(" ") + 1 :]
    return len(word) > 2 and word.isalpha() and symbol(word) is None


def _sign_before(token: Token, text: str, floor: int, last: str) -> None:
    """Take the currency that stands before the number; mostly it is one sign."""
    start = token.start
    at = start - 2 if last == " " and start - 2 >= floor else start - 1
    sign = text[at]
    if sign in ALONE or (sign == "$" and _is_bare(text, floor, at)):
        token.symbol, token.start, token.lead_digit = symbol(sign), at, False
    elif last in _LEADS or last.isalpha():
        _before(token, text, floor)


def _is_bare(text: str, floor: int, at: int) -> bool:
    """Whether the "$" at a place has no letters before it that may say whose dollar it is."""
    end = at - 1 if at > floor and text[at - 1] == " " else at
    return end == floor or not text[end - 1].isalpha()


def _is_followed(text: str, at: int) -> bool:
    """Whether a number follows, which may be the cents of a whole one: "12 € 99"."""
    return text[at : at + 2].lstrip()[:1].isdigit()


def _token(text: str, floor: int, found: re.Match[str]) -> Token | None:
    """The number with what belongs to it; None for a part of a word."""
    raw, sign = found.groups()
    start, end = found.span(1)
    token = Token(start, end, raw)
    last = text[start - 1] if start else ""
    if start > floor:
        _sign_before(token, text, floor, last)
    if last in _DOTS:
        _take_dots(token, text[max(0, start - 3) : start])
    if end < len(text):
        _behind(token, text, sign, found.end())
    return None if token.symbol is None and _is_glued(last) else token


def _behind(token: Token, text: str, sign: str | None, end: int) -> None:
    """Take what stands behind the number. `sign`: a plain one that ends at `end`."""
    signed = False
    if sign is not None and token.symbol is None:
        signed = not (token.raw.isdigit() and _is_followed(text, end))
        if signed:
            token.symbol, token.end = symbol(sign), end
    if token.end < len(text) and not is_idle(text, token.end):
        take(token, text, signed=signed)


def _is_glued(last: str) -> bool:
    """Whether a number that follows this letter is part of a word; Chinese has no blanks."""
    return last == "_" or (
        last.isalpha() and not ("\u3040" <= last <= "\u9fff" or "\uac00" <= last <= "\ud7af")
    )


def _take_dots(token: Token, before: str) -> None:
    """`$..75` is read, `1..2` stays undecided."""
    bare = before.rstrip(".,")
    dots = before[len(bare) :]
    if not bare[-1:].isalpha() and not before[-2:-1].isspace():
        token.raw = (dots if bare[-1:].isdigit() else dots[-1]) + token.raw


def tokens(text: str) -> tuple[list[Token], int, int]:
    """The numbers of a cleaned text that may be amounts, in order.

    Then how many others there are, and how many of all have one digit.
    """
    out: list[Token] = []
    floor = others = lone = 0
    has_percent = "%" in text
    while found := _AMOUNT.search(text, floor):
        token = _token(text, floor, found)
        start, floor = found.span(1)
        if floor - start == 1:
            lone += 1
        if token is not None and token.end > floor:
            floor = token.end
        if token is None or (has_percent and _PERCENT.match(text, token.end)):
            others += 1
        else:
            out.append(token)
    return out, others, lone
