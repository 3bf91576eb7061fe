"""The numbers of a cleaned price text, with the currency and the "per unit" beside them."""

from __future__ import annotations

import re
from typing import Final

from scrapers.texts.currencies import SIGNS, Symbol, is_everyday, symbol
from scrapers.texts.suffixes import take
from scrapers.texts.tokens import ALONE, DOLLAR_SIGN, NUMBER, SIGN, Token

_PRE: Final = re.compile(
    rf"({DOLLAR_SIGN}|{SIGN}|S/\.?|[\u0600-\u06ff]\.[\u0600-\u06ff]\.?|(?<![^\W_])[^\W\d_]{{1,10}}\.?)[\s:]{{0,2}}(-?)\s?\.?$"
)
# One character tells whether a currency may stand before a number.
_LEADS: Final = frozenset(" \t\n:.-/$" + SIGNS)
_DOTS: Final = frozenset((".", ","))
_SOLE: Final = "".join(sorted(ALONE))
# The plainest first: a sign that nothing can be part of, the number, or the sign behind it.
_AMOUNT: Final = re.compile(
    rf"(?:([{_SOLE}]|(?<![^\W\d_])(?<![^\W\d_] )\$) ?)?({NUMBER.pattern})"
    rf"(?(1)|(?: ?([{_SOLE}])(?! ?[0-9]))?)"
)


def _pre(text: str, floor: int, start: int) -> tuple[Symbol, int, bool, bool] | None:
    """The currency before a number: symbol, where it starts, a minus inside, a bare word."""
    found = _PRE.search(text, max(floor, start - 14), start)
    if found is None:
        return None
    meant = symbol(found[1])
    if meant is None:
        return None
    return meant, found.start(1), found[2] == "-", found[1][0].isalpha()


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


def _token(text: str, floor: int, found: re.Match[str]) -> Token | None:
    before, raw, after = found.groups()
    token = Token(found.start(), found.end(), raw, None)
    if before:
        token.symbol, token.lead_digit = symbol(before), False
    elif token.start > floor and ((last := text[token.start - 1]) in _LEADS or last.isalpha()):
        _before(token, text, floor)
    if after and token.symbol is None:
        token.symbol = symbol(after)
    elif after:
        token.end, after = found.end(2), None
    at = found.start(2)
    last = text[at - 1] if at else ""
    if last in _DOTS:
        _take_dots(token, text[max(0, at - 3) : at])
    if token.end < len(text):
        take(token, text, signed=after is not None)
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


def tokens(text: str) -> list[Token]:
    """All numbers of a cleaned text that may be amounts, in order."""
    out: list[Token] = []
    floor = 0
    while found := _AMOUNT.search(text, floor):
        token = _token(text, floor, found)
        floor = found.end()
        if token is None:
            continue
        floor = max(floor, token.end)
        if text[token.end : token.end + 2].lstrip()[:1] != "%":
            out.append(token)
    return out
