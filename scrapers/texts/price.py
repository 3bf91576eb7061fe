"""`read_price`: what a price text says one unit costs a visitor, as far as the text alone says."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

from scrapers.model import Multibuy, PriceText, Tax
from scrapers.texts.clean import clean, overridden
from scrapers.texts.currencies import (
    SIGNS,
    Symbol,
    hinted,
    is_everyday,
    minor_of,
    points_only,
    resolve,
    symbol,
    symbol_of_code,
)
from scrapers.texts.locales import local_signs, style
from scrapers.texts.multibuy import find_deal, quantity_of
from scrapers.texts.numbers import MAX_DIGITS, read_number
from scrapers.texts.roles import Gap, assign
from scrapers.texts.select import wanted
from scrapers.texts.tokens import Role, Token, tokens
from scrapers.texts.words import Mark

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scrapers.texts.locales import Style

MAX_TEXT: Final = 600
_SHORT: Final = 160
MAX_RAW: Final = 60  # characters of one number; longer runs are no price

_SIMPLE: Final = re.compile(
    rf"(?:([A-Z]{{0,3}}\$|[{re.escape(SIGNS)}]|[^\W\d_]{{1,6}}\.?) ?)?"
    r"(\d{1,3}(?:([ .,'])\d{3})(?:\3\d{3})*(?:[.,]\d\d?)?|\d{1,7}(?:[.,]\d\d?)?)"
    rf"(?: ?([{re.escape(SIGNS)}]|[^\W\d_]{{1,6}}\.?))?[ *]*"
)
_LEAST: Final = Decimal("0.01")
_FREE: Final = frozenset(
    "free gratis kostenlos gratuit gratuito zdarma darmowy darmowe 0.- umsonst grátis".split()
)
_NO_NUMBER: Final = frozenset("nan infinity -infinity inf -inf true false".split())
_MARKUP: Final = re.compile(
    r"^\s*[\[{]|\b0x[0-9a-f]|\d_\d|(?<![^\W_])\d+(?:\.\d+)?e-?\d+(?![^\W_])", re.IGNORECASE
)
_RANGE: Final = re.compile(
    r"\s*(?:[-\u2013\u2014~\u301c]|to|bis|bis zu|à|a|tot|do|till|til|hasta|al|and|und|et|y|e|až|en|och|og|i|ate|até|up to)\s*",
    re.IGNORECASE,
)
_NET_RATIO: Final = (
    Decimal("1.01"),
    Decimal("1.28"),
)  # highest standard rate of VAT in the EU: 27 %
# Standard rates in per cent of EU members, Switzerland, Norway, Britain, Australia, New Zealand.
_RATES: Final = [
    Decimal(rate) / 100 + 1 for rate in "8.1 10 15 16 17 18 19 20 21 22 23 24 25 25.5 27".split()
]


def _simple(text: str, hint: str | None, locale: str | None) -> PriceText | None:
    """The plain shapes that most price elements have, without the machinery."""
    found = _SIMPLE.fullmatch(text)
    if found is None:
        return None
    before, raw, _, after = found.groups()
    word = before or after
    sign = symbol(word) if word else None
    if word and (sign is None or sign.minor == 0 or (before and after) or is_everyday(word)):
        return None
    code = resolve(sign, hint, locale)
    style_ = _style(locale, raw, sign, leads=before is not None) if locale else None
    amount = read_number(raw, minor_of(sign, code), style_, points=points_only(sign, code))
    return PriceText(amount, code) if amount is not None and amount >= _LEAST else None


def _style(locale: str, raw: str, sign: Symbol | None, *, leads: bool) -> Style | None:
    """The locale's style, unless the sign's side shows that the text does not follow it."""
    if raw.isdigit() or sum(not mark.isdigit() for mark in raw) != 1:
        return None
    found = style(locale)
    if found is None or sign is None:
        return found
    return found if leads == found.leads else None


def _value(token: Token, hint: str | None, locale: str | None) -> None:
    """Fill in the token's currency and number; the number stays None where undecidable."""
    token.code = resolve(token.symbol, hint, locale)
    minor = minor_of(token.symbol, token.code)
    if token.rounded or len(token.raw) > MAX_RAW:
        return
    told = _style(locale, token.raw, token.symbol, leads=not token.lead_digit) if locale else None
    points = points_only(token.symbol, token.code)
    token.value = read_number(token.raw, minor, told, unit=token.per is not None, points=points)
    if token.value is not None and token.minor_coin:
        token.value /= 100
    if token.code == "JPY" and token.symbol is not None and token.value is not None:
        _yen_or_yuan(token, hint)


def _yen_or_yuan(token: Token, hint: str | None) -> None:
    """The yen has no minor unit: a "¥" before sen is the yuan, before ".00" it is open."""
    shared = token.symbol is not None and len(token.symbol.codes) > 1
    if not shared or hint or token.value is None or token.raw.isdigit():
        return
    if token.value != token.value.to_integral_value():
        token.code = "CNY"
    elif re.search(r"[.,]00$", token.raw):
        token.code = None


def _doubt(token: Token) -> str | None:
    """Why the token's number is not to be believed, or None."""
    if token.value is None:
        if len(token.raw) > MAX_RAW:
            return "too large"
        return "rounded" if token.rounded else "separator"
    if token.value >= Decimal(10) ** MAX_DIGITS:
        return "too large"
    least = Decimal(1).scaleb(-(minor_of(token.symbol, token.code) or 0))
    if token.code is None and token.symbol is None:
        least = Decimal("0.01")
    if token.value and token.value < least and token.per is None:
        return "below one minor unit"
    return None


def _mark_multi(text: str, found: Sequence[Token]) -> list[Multibuy]:
    """Find the amounts that need several units, and take them out of the running."""
    out: list[Multibuy] = []
    for index, token in enumerate(found):
        start = found[index - 1].end if index else 0
        is_last = index + 1 == len(found)
        end = len(text) if is_last else found[index + 1].start
        told = quantity_of(token, text[start : token.start], text[token.end : end], is_last=is_last)
        if told is None or token.value is None:
            continue
        quantity, per = told
        if quantity == 1:
            continue
        token.role = Role.MULTI
        kind: Literal["lot", "each"] = "lot" if per == "lot" else "each"
        out.append(Multibuy(quantity, token.value, kind))
    return out


def _link_ranges(text: str, mains: Sequence[Token]) -> tuple[Token, Token] | None:
    """Two neighbouring prices with nothing but a dash or "to" between, the second higher."""
    for low, high in zip(mains, mains[1:], strict=False):
        between = text[low.end : high.start]
        rising = low.value is not None and high.value is not None and low.value < high.value
        if rising and _RANGE.fullmatch(between):
            return low, high
    return None


def _one_currency(mains: list[Token], hint: str | None) -> list[Token]:
    """Of a price said in several currencies, the page's own, else the first one's."""
    signed = [token for token in mains if token.symbol is not None]
    if len(signed) < 2 or len({token.symbol for token in signed}) < 2:
        return mains
    chosen = next((token for token in signed if hint and token.code == hint), signed[0])
    return [token for token in mains if _may_share(token, chosen)]


def _may_share(token: Token, chosen: Token) -> bool:
    if token.symbol is None or chosen.symbol is None or token.symbol == chosen.symbol:
        return True
    if token.code and chosen.code:
        return token.code == chosen.code
    return any(code in chosen.symbol.codes for code in token.symbol.codes)


def _tax_of(gaps: Sequence[Gap]) -> tuple[bool, bool]:
    return any(gap.has(Mark.NET) for gap in gaps), any(gap.has(Mark.GROSS) for gap in gaps)


def _distinct(mains: list[Token]) -> list[Token]:
    """Without repeats: screen readers get the same amount again."""
    seen: dict[Decimal | None, Token] = {}
    for token in mains:
        seen.setdefault(token.value, token)
    return list(seen.values())


def _without_saving(mains: list[Token]) -> list[Token]:
    """Of three amounts, the one that is the difference of the others is the saving."""
    if len(mains) != 3:
        return mains
    ordered = sorted(mains, key=lambda token: token.value or 0)
    small, low, high = (token.value or Decimal(0) for token in ordered)
    return [token for token in mains if token is not ordered[0]] if high - low == small else mains


def _net_and_gross(mains: list[Token], *, net: bool, gross: bool) -> bool:
    """Whether the two amounts are one price without and with tax.

    With a note of the tax taken out any ratio up to the highest rate will do; with a
    note of the tax held alone it must be a standard rate, else the lower is a sale.
    """
    if len(mains) != 2 or not (net or gross):
        return False
    low, high = sorted(token.value or Decimal(0) for token in mains)
    if not low:
        return False
    if net:
        return _NET_RATIO[0] <= high / low <= _NET_RATIO[1]
    return any(abs(high / low - rate) < Decimal("0.002") for rate in _RATES)


def _swap_lower_list(found: Sequence[Token]) -> None:
    """A list price below the price was a phrase about the amount before it."""
    lists = [token for token in found if token.role is Role.LIST]
    mains = [token for token in found if token.role is Role.PRICE]
    if len(lists) == 1 and len(mains) == 1 and lists[0].value and mains[0].value:
        if lists[0].value < mains[0].value:
            lists[0].role, mains[0].role = Role.PRICE, Role.LIST


def _usual(gaps: Sequence[Gap]) -> None:
    """ "Regular price" is the price where it stands alone, the list price beside another."""
    mains = [gap.after for gap in gaps if gap.after and gap.after.role is Role.PRICE]
    for gap in gaps:
        for said in gap.said:
            token = gap.following(said) if said.has(Mark.USUAL) else None
            if token is not None and token.role is Role.PRICE and len(mains) > 1:
                token.role = Role.LIST
                mains.remove(token)


def _only(role: Role, found: Sequence[Token]) -> list[Token]:
    return [token for token in found if token.role is role]


def _without_price(found: Sequence[Token], base: PriceText, multi: list[Multibuy]) -> PriceText:
    """No plain price: a lone unit price, a list price, a multi-buy, or what else there is."""
    units = [token for token in _only(Role.UNIT, found) if token.value is not None]
    lists = _only(Role.LIST, found)
    if units:
        return replace(base, amount=units[0].value, currency=units[0].code, per=units[0].per)
    if multi:
        code = next((token.code for token in _only(Role.MULTI, found)), None)
        return replace(base, currency=code, multibuy=tuple(multi))
    if lists:
        return replace(
            base, list_amount=lists[0].value, currency=lists[0].code, doubt=_doubt(lists[0])
        )
    upto = _only(Role.UPTO, found)
    if upto:
        return replace(base, high=upto[0].value, currency=upto[0].code, doubt="up to")
    return replace(base, currency=found[0].code, doubt=str(found[0].role))


def _list_amount(price: Decimal, found: Sequence[Token]) -> Decimal | None:
    lists = [token.value for token in _only(Role.LIST, found) if token.value is not None]
    higher = [value for value in lists if value > price]
    return max(higher) if higher else None


def _from(gaps: Sequence[Gap], token: Token) -> bool:
    if gaps[-1].before is token and gaps[-1].text.strip() == "+":
        return True
    return any(gap.after is token and gap.has(Mark.FROM) for gap in gaps)


def _several(mains: list[Token], base: PriceText) -> PriceText:
    values = sorted(token.value for token in mains if token.value is not None)
    if len(values) == 2:
        return replace(base, amount=values[0], list_amount=values[1])
    return replace(base, low=values[0], high=values[-1], doubt="several amounts")


def _settle(
    text: str, found: list[Token], gaps: list[Gap], base: PriceText, hint: str | None
) -> PriceText:
    """The plain prices of the text put together."""
    mains = _one_currency(_only(Role.PRICE, found), hint)
    worry = next((why for token in mains if (why := _doubt(token))), None)
    base = replace(base, currency=mains[0].code)
    if worry:
        return replace(base, doubt=worry)
    span = _link_ranges(text, mains)
    if span:
        low, high = span[0].value, span[1].value
        return replace(base, amount=low, low=low, high=high)
    mains = _without_saving(_distinct(mains))
    net, gross = _tax_of(gaps)
    if _net_and_gross(mains, net=net, gross=gross):
        top = max(token.value or Decimal(0) for token in mains)
        return replace(base, amount=top, list_amount=_list_amount(top, found), tax=Tax.INCLUDED)
    if net != gross:
        base = replace(base, tax=Tax.EXCLUDED if net else Tax.INCLUDED)
    if len(mains) > 1:
        return _several(mains, base)
    return _one(mains[0], found, gaps, base)


def _one(token: Token, found: list[Token], gaps: list[Gap], base: PriceText) -> PriceText:
    price = token.value or Decimal(0)
    if not price:
        return replace(base, amount=price, doubt="zero")
    low = price if _from(gaps, token) else None
    per = token.per if not _only(Role.UNIT, found) else None
    return replace(base, amount=price, low=low, per=per, list_amount=_list_amount(price, found))


def _units_beside(found: list[Token]) -> None:
    """An amount "per metre" is the unit price only where another amount is the price."""
    mains = _only(Role.PRICE, found)
    with_per = [token for token in mains if token.per is not None]
    if with_per and len(with_per) < len(mains):
        for token in with_per:
            token.role = Role.UNIT


def _local_sign(text: str, found: list[Token], locale: str | None) -> None:
    """A sign that only the locale's own CLDR data know ("Bds$", "د.ك.")."""
    if locale is None or len(found) != 1 or found[0].symbol is not None:
        return
    rest = (text[: found[0].start] + text[found[0].end :]).strip()
    if rest and len(rest) < 12:
        signs = {clean(sign): code for sign, code in local_signs(locale).items()}
        found[0].symbol = symbol_of_code(signs.get(rest))


def _wordless(text: str) -> PriceText | None:
    """A text without a number: free, no price, or a machine's word."""
    folded = text.casefold().strip(" !.*:")
    if folded in _FREE:
        return PriceText(Decimal(0), doubt="free")
    return PriceText(doubt="not a number") if folded in _NO_NUMBER else None


def _cut(text: str) -> str:
    return text if len(text) <= MAX_TEXT else text[:MAX_TEXT].rsplit(None, 1)[0]


def _read(text: str, hint: str | None, locale: str | None) -> PriceText | None:
    deal = find_deal(text)
    if deal is not None:
        text = text[: deal.start] + " | " + text[deal.end :]
    found = wanted(text, tokens(text))
    if not found:
        return PriceText(doubt="multi-buy") if deal else _wordless(text)
    _local_sign(text, found, locale)
    for token in found:
        _value(token, hint, locale)
    multi = _mark_multi(text, found)
    gaps = assign(text, found)
    _units_beside(found)
    _usual(gaps)
    _swap_lower_list(found)
    base = PriceText(multibuy=tuple(multi))
    if not _only(Role.PRICE, found):
        return _without_price(found, base, multi)
    read = _settle(text, found, gaps, base, hint)
    if deal is not None and read.amount is not None:
        return replace(read, multibuy=(*read.multibuy, deal.at(read.amount)))
    return read


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
    return _fresh(text, locale, currency)


def _fresh(text: str, locale: str | None, currency: str | None) -> PriceText | None:
    hint = hinted(currency) if currency else None
    if overridden(text):
        return PriceText(doubt="bidi")
    cleaned = clean(_cut(text))
    quick = _simple(cleaned, hint, locale)
    if quick is not None:
        return quick
    if _MARKUP.search(cleaned):
        return PriceText(doubt="markup")
    return _read(cleaned, hint, locale)


# A page says the same price in several places, and the next visit says it again.
_remembered = lru_cache(maxsize=4096)(_fresh)
