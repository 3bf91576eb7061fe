"""`read_price`: what a price text says one unit costs a visitor, as far as the text alone says."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Final

from scrapers.model import PriceText
from scrapers.texts.clean import clean, overridden
from scrapers.texts.currencies import (
    SIGNS,
    hinted,
    is_everyday,
    minor_of,
    points_only,
    resolve,
    symbol,
)
from scrapers.texts.numbers import Hints, read_number
from scrapers.texts.values import style_of

if TYPE_CHECKING:
    from collections.abc import Callable

MAX_TEXT: Final = 600
_SHORT: Final = 160
MAX_SIMPLE: Final = 40
_SIMPLE: Final = re.compile(  # nothing is tried twice: most texts are not simple
    rf"(?:([A-Z]{{0,3}}+\$|[{re.escape(SIGNS)}]|[^\W\d_]{{1,6}}+\.?+) ?+)?+"
    r"([0-9]{1,3}(?:([ .,'])[0-9]{3})(?:\3[0-9]{3})*+(?:[.,][0-9][0-9]?)?"
    r"|[0-9]{1,7}+(?:[.,][0-9][0-9]?)?)"
    rf"(?: ?+([{re.escape(SIGNS)}]|[^\W\d_]{{1,6}}+\.?+))?+[ *]*+"
)
_LEAST: Final = Decimal("0.01")


def _simple(text: str, hint: str | None, locale: str | None) -> PriceText | None:
    """The plain shapes that most price elements have, without the machinery."""
    found = _SIMPLE.fullmatch(text) if len(text) <= MAX_SIMPLE else None
    if found is None:
        return None
    before, raw, _, after = found.groups()
    word = before or after
    sign = symbol(word) if word else None
    if word and (sign is None or sign.minor == 0 or (before and after) or is_everyday(word)):
        return None
    code = resolve(sign, hint, locale)
    style_ = style_of(locale, raw, sign, leads=before is not None) if locale else None
    hints = Hints(minor_of(sign, code), style_, points=points_only(sign, code))
    amount = read_number(raw, hints)
    return PriceText(amount, code) if amount is not None and amount >= _LEAST else None


def _cut(text: str) -> str:
    return "".join(text[:MAX_TEXT].rsplit(None, 1)[:1])


def read_price(
    text: str, *, locale: str | None = None, currency: str | None = None
) -> PriceText | None:
    """What a price text says, or None where it holds no price. Never raises.

    `locale` (BCP 47 or CLDR name) and `currency` (code or sign) are what the page lets
    one assume: they decide only what the text leaves open. See `PriceText` and the
    rules: `amount` is what one unit costs at quantity 1 with tax; for a range or "from"
    it is the low end and `low` is set; of two bare amounts the lower, the higher being
    `list_amount`; net and gross together: the gross; a lone unit price has `per`. For
    "2 for 30" and "ab 5 Stück" `amount` is None beside `multibuy`.

    With `doubt` set the amount is not to be trusted (mostly it is None then): `separator`,
    `bidi`, `zero`, `free`, `negative`, `rounded`, `too large`, `below one minor unit`,
    `several amounts`, `not a number`, `markup`, or what a lone amount is instead of a
    price (`instalment`, `saving`, `shipping`, `difference`, `quantity times price`, ...).
    """
    if not text:
        return None
    if len(text) <= _SHORT:
        return _remembered(text, locale, currency)
    return read_fresh(text, locale, currency)


@cache
def _whole() -> Callable[[str, str | None, str | None], PriceText | None]:
    """The reader of whole texts; its patterns cost 20 ms to make, so on first need."""
    from scrapers.texts.whole import read_whole  # noqa: PLC0415  see above

    return read_whole


def read_fresh(text: str, locale: str | None, currency: str | None) -> PriceText | None:
    hint = hinted(currency) if currency else None
    if not text.isascii() and overridden(text):
        return PriceText(doubt="bidi")
    cleaned = clean(text if len(text) <= MAX_TEXT else _cut(text))
    quick = _simple(cleaned, hint, locale)
    if quick is not None:
        return quick
    return _whole()(cleaned, hint, locale)


# A page says the same price in several places, and the next visit says it again.
_remembered = lru_cache(maxsize=4096)(read_fresh)
