"""The numbers of a cleaned price text, with the currency and the "per unit" beside them."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from scrapers.texts.currencies import SIGNS, Symbol, is_everyday, symbol
from scrapers.texts.suffixes import take
from scrapers.texts.tokens import ALONE, DOLLAR_SIGN, NUMBER, SIGN, Token

_PRE: Final = re.compile(
    rf"({DOLLAR_SIGN}|{SIGN}|S/\.?|[\u0600-\u06ff]\.[\u0600-\u06ff]\.?|(?<![^\W_])[^\W\d_]{{1,10}}\.?)[\s:]{{0,2}}(-?)\s?\.?$"
)
# One character tells whether a currency may stand before a number.
_LEADS: Final = frozenset(" \t\n:.-/$" + SIGNS)
_ENDS: Final = frozenset("$/" + SIGNS)
_POWERS: Final = frozenset("eExX")
_DOTS: Final = frozenset((".", ","))
_CODES, _WORDS = "EUR|CHF|USD|GBP", "Kč|zł|kr|TL|lei|Ft"
# The plainest: a sign that nothing else can be, and no number behind it.
_BEHIND: Final = re.compile(
    rf" ?([{''.join(sorted(ALONE))}]|(?:{_CODES}|{_WORDS})(?![\w.-]))(?![0-9])"
)


def _pre(text: str, floor: int, start: int) -> tuple[Symbol, int, bool, bool] | None:
    """The currency before a number: symbol, where it starts, a minus inside, a bare word."""
    least = max(floor, start - 14)
    if _is_no_currency(text[least:start].rstrip(" :-.")):
        return None
    found = _PRE.search(text, least, start)
    if found is None:
        return None
    meant = symbol(found[1])
    if meant is None:
        return None
    return meant, found.start(1), found[2] == "-", found[1][0].isalpha()


def _is_no_currency(text: str) -> bool:
    """Whether what stands before a number surely ends with no currency, as it mostly does."""
    if not text or not (text[-1].isalpha() or text[-1] in _ENDS):
        return True
    word = text[text.rfind(" ") + 1 :]
    return len(word) > 2 and word.isalpha() and symbol(word) is None


def _before(token: Token, text: str, floor: int) -> None:
    """Take what stands before the number, where it is more than a sign."""
    start = token.start
    before = _pre(text, floor, start)
    if before is not None:
        token.symbol, token.start, token.negative, is_word = before
        token.lead_digit = False
        code = text[token.start : token.start + 3]
        if is_word and is_everyday(code) and token.is_whole:
            token.symbol, token.start = None, start


def _sign_before(token: Token, text: str, floor: int) -> None:
    """Take the currency that stands before the number; mostly it is one sign."""
    start = token.start
    last = text[start - 1]
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
    start, end = found.span()
    token = Token(start, end, found[0], None)
    if start > floor:
        _sign_before(token, text, floor)
    last = text[start - 1] if start else ""
    if last in _DOTS:
        _take_dots(token, text[max(0, start - 3) : start])
    if end < len(text):
        signed = _BEHIND.match(text, end) if token.symbol is None else None
        if signed and not (token.is_whole and _is_followed(text, signed.end())):
            token.symbol, token.end = symbol(signed[1]), signed.end()
        else:
            signed = None
        if token.end < len(text):
            take(token, text, signed=signed is not None)
    return None if token.symbol is None and _is_glued(last) else token


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


class Scan(NamedTuple):
    """The numbers that may be amounts, in order; how many others there are; what is odd.

    `lone`: how many numbers have one digit. `odd`: a number is followed by "e" or "x".
    """

    found: list[Token]
    others: int
    lone: int
    odd: bool


def tokens(text: str) -> Scan:
    """All numbers of a cleaned text."""
    out: list[Token] = []
    floor = others = lone = 0
    odd = False
    while found := NUMBER.search(text, floor):
        token = _token(text, floor, found)
        start, floor = found.span()
        lone += floor - start == 1
        odd = odd or text[floor : floor + 1] in _POWERS
        if token is None:
            others += 1
            continue
        end = token.end
        floor = max(floor, end)
        if end < len(text) and text[end : end + 2].lstrip()[:1] == "%":
            others += 1
        else:
            out.append(token)
    return Scan(out, others, lone, odd)
