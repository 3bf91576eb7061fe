"""Which numbers of a price text may be amounts of money at all."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from scrapers.texts.suffixes import UNITS
from scrapers.texts.words import Mark, read_gap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scrapers.texts.tokens import Token

_LINK: Final = re.compile(
    r"\s*(?:[-\u2013\u2014~]|to|bis|à|a|tot|do|till|til|hasta|al|and|und|et|y|až|en)\s*",
    re.IGNORECASE,
)
_THING: Final = re.compile(r"\s?(?:[-\u2013]\s?[0-9]+\s?)?(°|[^\W\d_]+)(?P<rest> [^\W\d_]+)?")
_THING_NAMES: Final = """
    mah ah wh v volt volts kv amp amps a w watt watts s sp c rpm ° day days tag tage tagen jour
    jours dagen dag giorni día días dni dní dagar dage week weeks woche wochen werktag werktage
    werktagen hour hours stunden uhr min left remaining available verfügbar vorrätig review reviews
    rating ratings bewertungen star stars sterne avis recensioni sold verkauft people time times mal
    x von of trên teilig er year years jahre point points punkte cell cells zellen color colors
    colour colours farben sizes größen variant variants option options order orders seller offer
    offers angebote
"""
_THINGS: Final = UNITS | frozenset(_THING_NAMES.split())
_LONG_THINGS: Final = frozenset(("auf lager", "out of"))
_THEN_PRICE: Final = re.compile(
    r"\s?(?:\+|or more|oder mehr|(?:for|für|pour|voor|per|por|za|för)\s+(?=\d)"
    r"|[x\u00d7*]\s?(?=[\d.]))",
    re.IGNORECASE,
)
# What numbers of something else are called; ends of texts, so that they may be parts of words.
_NAME_WORDS: Final = """
    sku art ref réf model modell item code ean gtin mpn no. nr. n° # point points punkte size größe
    grösse taille qty menge quantity anzahl page seite version v
"""
_NAMES: Final = (
    *_NAME_WORDS.split(),
    *(f"{article}{link}{number}{dot}"
      for article in ("art", "art.", "artikel") for link in ("", "-", ".", " ")
      for number in ("nr", "no", "n") for dot in ("", ".")),
)  # fmt: skip
_MARKS: Final = frozenset("#°")
_DATE: Final = re.compile(r"(?:0?[1-9]|[12]\d|3[01])[.](?:0?[1-9]|1[0-2])[.](?:\d{4}|\d\d)")
_TIER_LEAD: Final = re.compile(r"(?:ab|from|dès|vanaf|od|från|fra|bei)\s*$", re.IGNORECASE)


def _linked(text: str, bare: Token, other: Token) -> bool:
    """Whether a bare number is one end of a range whose other end has the currency."""
    low, high = (bare, other) if bare.start < other.start else (other, bare)
    return _LINK.fullmatch(text[low.end : high.start]) is not None


def _is_thing(text: str, token: Token) -> bool:
    """A number of something else: pieces, days, a size, an article number, a date."""
    glued = text[token.end : token.end + 1]
    if glued.isalpha() and token.per is None and not token.rounded:
        return True
    if token.is_whole:
        if _THEN_PRICE.match(text, token.end):
            return True
        if glued == ":" and _TIER_LEAD.search(text[: token.start]):
            return True
    elif token.raw.count(".") == 2 and _DATE.fullmatch(token.raw):
        return True
    if _is_named(text[max(0, token.start - 16) : token.start]):
        return True
    return _counts_things(text, token.end)


def _is_named(before: str) -> bool:
    """Whether the words before a number say that it numbers or sizes something."""
    last = before.rstrip(" .:")[-1:]
    if not (last.isalpha() or last in _MARKS):
        return False
    name = before.rstrip().lower()
    if name.endswith(_NAMES):
        return True
    return name.endswith((".", ":")) and name[:-1].rstrip().endswith(_NAMES)


def _counts_things(text: str, end: int) -> bool:
    """Whether the word behind a number names what is counted or measured."""
    found = _THING.match(text, end)
    if found is None:
        return False
    word = found[1].casefold()
    if word in _THINGS:
        return True
    if found["rest"] is None:
        return False
    both = f"{word}{found['rest'].casefold()}"
    return both in _LONG_THINGS or both in UNITS


def _in_brackets(text: str, token: Token) -> bool:
    return text[token.start - 1 : token.start] == "(" and text[token.end : token.end + 1] == ")"


def _announced(text: str, token: Token, start: int) -> bool:
    """A bare amount right after "statt", "was", "now": it shares the text's currency."""
    said = read_gap(text[start : token.start])
    if not said or not said[-1].last:
        return False
    return said[-1].has(Mark.LIST) or (said[-1].has(Mark.NOW) and not token.is_whole)


def _instead(text: str, bare: Token, other: Token) -> bool:
    """`12.90 statt 15.90 CHF`: the currency stands after the former price only."""
    said = read_gap(text[bare.end : other.start])
    return other.symbol is not None and len(said) == 1 and said[0].last and said[0].has(Mark.LIST)


def _with_currency(text: str, found: Sequence[Token]) -> list[Token]:
    kept: list[Token] = []
    for index, token in enumerate(found):
        if token.symbol is not None or token.minor_coin:
            kept.append(token)
            continue
        if text[token.end : token.end + 1].isalpha() or _is_thing(text, token):
            continue
        other = _sharing(text, found, index)
        if other is not None:
            token.symbol, token.lead_digit = other.symbol, other.lead_digit
            kept.append(token)
    return kept


def _sharing(text: str, found: Sequence[Token], index: int) -> Token | None:
    """The amount whose currency a bare number shares, if it is money at all."""
    token = found[index]
    near = [found[i] for i in (index + 1, index - 1) if 0 <= i < len(found)]
    for other in near:
        if other.symbol is not None and _linked(text, token, other):
            return other
    if _announced(text, token, found[index - 1].end if index else 0):
        return next((other for other in found if other.symbol is not None), None)
    following = found[index + 1] if index + 1 < len(found) else None
    return following if following and _instead(text, token, following) else None


def wanted(text: str, found: list[Token]) -> list[Token]:
    """The tokens that may be money: those with a currency, else the bare numbers left over."""
    bare = [token for token in found if token.symbol is None and not token.minor_coin]
    if len(bare) < len(found):
        return _with_currency(text, found) if bare else found
    left = [token for token in found if not _is_thing(text, token)]
    open_ = [token for token in left if not (_in_brackets(text, token) and token.is_whole)]
    return open_ or left
