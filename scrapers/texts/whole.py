"""A whole price text, token by token: what is not one of the plain shapes."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from scrapers.model import PriceText
from scrapers.texts.multibuy import find_deal
from scrapers.texts.roles import assign
from scrapers.texts.scan import tokens
from scrapers.texts.select import wanted
from scrapers.texts.settle import (
    mark_multi,
    mark_units,
    mark_usual,
    only,
    settle,
    swap_lower_list,
    without_price,
)
from scrapers.texts.suffixes import UNIT_WORD
from scrapers.texts.tokens import NUMBER, Role
from scrapers.texts.values import fill, local_apart, local_sign

if TYPE_CHECKING:
    from scrapers.texts.multibuy import Deal
    from scrapers.texts.tokens import Token

_UNIT_FIRST: Final = re.compile(
    rf"([€$£]|EUR|CHF) ?/ ?({UNIT_WORD}) ?:? ({NUMBER.pattern})", re.IGNORECASE
)
_MONEY_PER: Final = re.compile(r"[€$£RFrf] ?/ ?[^\W\d_]")
_CUT_IN_TWO: Final = re.compile(r"\d{1,4} \d\d")  # may be 12.90 in two spans, or two numbers
_FREE: Final = frozenset(
    ("free", "gratis", "kostenlos", "umsonst", "gratuit", "gratuito", "grátis", "zdarma", "darmowe")
)
_NO_NUMBER: Final = frozenset(("nan", "inf", "infinity", "-infinity", "true", "false"))
_SUSPECT: Final = re.compile(r"[0-9[{_](?:(?<![0-9])|[eExX])")  # spares most the longer search
_MARKUP: Final = re.compile(
    r"^\s*[\[{]|\b0x[0-9a-f]|\d_\d|(?<![^\W_])\d+(?:\.\d+)?e-?\d+(?![^\W_])", re.IGNORECASE
)


def _wordless(text: str) -> PriceText | None:
    """A text without a number: free, no price, or a machine's word."""
    folded = text.casefold().strip(" !.*:")
    if folded in _FREE:
        return PriceText(Decimal(0), doubt="free")
    return PriceText(doubt="not a number") if folded in _NO_NUMBER else None


def _around(text: str, found: list[Token]) -> list[str]:
    """What stands before, between and after the amounts."""
    made = []
    end = 0
    for token in found:
        made.append(text[end : token.start])
        end = token.end
    made.append(text[end:])
    return made


def read_whole(text: str, hint: str | None, locale: str | None) -> PriceText | None:
    """What a cleaned text says, by the roles of all its amounts."""
    if len(text) <= 7 and _CUT_IN_TWO.fullmatch(text):
        return PriceText(doubt="separator")
    if "/" in text and _MONEY_PER.search(text):
        text = _UNIT_FIRST.sub(r"\1 \3/\2", text)
    if _SUSPECT.search(text) and _MARKUP.search(text):
        return PriceText(doubt="markup")
    numbers, others, lone = tokens(text)
    deal = find_deal(text) if lone > 1 or (lone and "one" in text.casefold()) else None
    if deal is not None:
        text = f"{text[: deal.start]} | {text[deal.end :]}"
        numbers, others, _ = tokens(text)
    found = wanted(text, numbers)
    if found:
        counted = others > 0 or len(found) < len(numbers)  # pieces have numbers too
        read = _read(text, found, hint, locale, counted=counted)
        return read if deal is None else _with_deal(read, deal)
    apart = local_apart(text, locale) if locale is not None else None
    if apart is not None:
        return read_whole(apart, hint, locale)
    return PriceText(doubt="multi-buy") if deal else _wordless(text)


def _with_deal(read: PriceText, deal: Deal) -> PriceText:
    if read.amount is None:
        return read
    return read._replace(multibuy=(*read.multibuy, deal.at(read.amount)))


def _read(
    text: str, found: list[Token], hint: str | None, locale: str | None, *, counted: bool
) -> PriceText:
    """The amounts with their roles put together. `counted`: the text holds other numbers too."""
    if locale is not None:
        local_sign(text, found, locale)
    for token in found:
        fill(token, hint, locale)
    stretches = _around(text, found)
    multi = mark_multi(found, stretches) if counted else ()
    gaps = assign(found, stretches)
    if len(found) > 1:
        mark_units(found, stretches)
        mark_usual(found, gaps)
        swap_lower_list(found)
    mains = only(Role.PRICE, found)
    if not mains:
        return without_price(found, multi)
    return settle(text, mains, found, gaps, multi, hint)
