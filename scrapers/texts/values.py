"""The number and currency of each amount, with what the page's locale and currency decide."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from scrapers.texts.clean import clean
from scrapers.texts.currencies import minor_of, points_only, resolve, symbol_of_code
from scrapers.texts.locales import local_signs, style
from scrapers.texts.numbers import MAX_DIGITS, Hints, plain_number, read_number

if TYPE_CHECKING:
    from scrapers.texts.currencies import Symbol
    from scrapers.texts.locales import Style
    from scrapers.texts.tokens import Token

MAX_RAW: Final = 60  # characters of one number; longer runs are no price

_CENT: Final = Decimal("0.01")
_TOO_LARGE: Final = Decimal(10**MAX_DIGITS)


def style_of(locale: str, raw: str, sign: Symbol | None, *, leads: bool) -> Style | None:
    """The locale's style, unless the sign's side shows that the text does not follow it."""
    if raw.isdigit() or sum(not mark.isdigit() for mark in raw) != 1:
        return None
    found = style(locale)
    if found is None or sign is None:
        return found
    return found if leads == found.leads else None


def fill(token: Token, hint: str | None, locale: str | None) -> None:
    """Fill in the token's currency and number; the number stays None where undecidable."""
    code = resolve(token.symbol, hint, locale)
    if code is None and token.maybe is not None:
        code = resolve(token.maybe, None, locale)
    token.code = code
    raw = token.raw
    if token.rounded or len(raw) > MAX_RAW:
        return
    value = plain_number(raw)
    if value is None:
        value = _by_hints(token, locale)
    if value is not None and value < _TOO_LARGE:
        token.value = value / 100 if token.minor_coin else value
    if code == "JPY":
        _yen_or_yuan(token, hint)


def _by_hints(token: Token, locale: str | None) -> Decimal | None:
    told = style_of(locale, token.raw, token.symbol, leads=not token.lead_digit) if locale else None
    minor, points = minor_of(token.symbol, token.code), points_only(token.symbol, token.code)
    return read_number(token.raw, Hints(minor, told, token.per is not None, points))


def _yen_or_yuan(token: Token, hint: str | None) -> None:
    """The yen has no minor unit: a "¥" before sen is the yuan, before ".00" it is open."""
    shared = token.symbol is not None and len(token.symbol.codes) > 1
    if not shared or hint or token.value is None or token.raw.isdigit():
        return
    if token.value != token.value.to_integral_value():
        token.code = "CNY"
    elif token.raw.endswith((".00", ",00")):
        token.code = None


def doubt_of(token: Token) -> str | None:
    """Why the token's number is not to be believed, or None."""
    if token.value is None:
        if sum(map(str.isdigit, token.raw)) > MAX_DIGITS:
            return "too large"
        return "rounded" if token.rounded else "separator"
    if token.value >= 1:
        return None
    minor = minor_of(token.symbol, token.code)
    least = _CENT if minor is None else Decimal(1).scaleb(-minor)
    if token.value and token.value < least and token.per is None:
        return "below one minor unit"
    return None


def local_sign(text: str, found: list[Token], locale: str) -> None:
    """A sign that only the locale's own CLDR data know ("Bds$", "د.ك.")."""
    if len(found) != 1 or found[0].symbol is not None:
        return
    rest = (text[: found[0].start] + text[found[0].end :]).strip()
    if rest and len(rest) < 12:
        signs = {clean(sign): code for sign, code in local_signs(locale).items()}
        found[0].symbol = symbol_of_code(signs.get(rest))


_GLUED: Final = re.compile(r"([^\W\d_]{1,3})([0-9].*)")


def local_apart(text: str, locale: str) -> str | None:
    """`Q125.50` in Guatemala with a blank behind its sign; None for no sign of the locale."""
    found = _GLUED.fullmatch(text)
    return f"{found[1]} {found[2]}" if found and found[1] in local_signs(locale) else None
