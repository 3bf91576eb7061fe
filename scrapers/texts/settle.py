"""The amounts of a price text put together into what one unit costs."""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from scrapers.model import Multibuy, PriceText, Tax
from scrapers.texts.multibuy import quantity_of
from scrapers.texts.tokens import Role, Token
from scrapers.texts.values import doubt_of
from scrapers.texts.vat import is_net_and_gross
from scrapers.texts.words import Mark

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scrapers.texts.roles import Gap

_RANGE: Final = re.compile(
    r"\s*(?:[-\u2013\u2014~\u301c]|to|bis|bis zu|à|a|tot|do|till|til|hasta|al|and|und|et|"
    r"y|e|až|en|och|og|i|ate|até|up to)\s*",
    re.IGNORECASE,
)
_DIGIT: Final = re.compile(r"[0-9]")
_AND_UP: Final = frozenset(("+", "~", "\u301c", "から", "より", "起"))


def mark_multi(found: Sequence[Token], stretches: Sequence[str]) -> tuple[Multibuy, ...]:
    """Find the amounts that need several units, and take them out of the running."""
    counted = [_DIGIT.search(text) is not None for text in stretches]
    out: list[Multibuy] = []
    for index, token in enumerate(found if any(counted) else ()):
        if not (counted[index] or counted[index + 1]):
            continue
        is_last = index + 1 == len(found)
        told = quantity_of(token, stretches[index], stretches[index + 1], is_last=is_last)
        if told is None or not token.value:
            continue
        quantity, per = told
        token.fixed = quantity == 1
        if quantity > 1:
            token.role = Role.MULTI
            out.append(Multibuy(quantity, token.value, per))
    return tuple(out)


def _link_ranges(text: str, mains: Sequence[Token]) -> tuple[Token, Token] | None:
    """Two neighbouring prices with nothing but a dash or "to" between, the second higher."""
    for low, high in pairwise(mains):
        between = text[low.end : high.start]
        rising = low.value is not None and high.value is not None and low.value < high.value
        if rising and _RANGE.fullmatch(between):
            return low, high
    return None


def _one_currency(mains: list[Token], hint: str | None) -> list[Token]:
    """Of a price said in several currencies, the page's own, else the first one's."""
    if not [token for token in mains if token.symbol is not mains[0].symbol]:
        return mains  # as it mostly is
    signed = [token for token in mains if token.symbol is not None]
    if len({token.symbol for token in signed}) < 2:
        return mains
    chosen = next((token for token in signed if hint and token.code == hint), signed[0])
    return [token for token in mains if _may_share(token, chosen)]


def _may_share(token: Token, chosen: Token) -> bool:
    if token.symbol is None or chosen.symbol is None or token.symbol == chosen.symbol:
        return True
    if token.code and chosen.code:
        return token.code == chosen.code
    return any(code in chosen.symbol.codes for code in token.symbol.codes)


def _distinct(mains: list[Token]) -> list[Token]:
    """Without repeats: screen readers get the same amount again."""
    first: dict[Decimal | None, Token] = {}
    for token in mains:
        first.setdefault(token.value, token)
    return list(first.values())


def _without_saving(mains: list[Token]) -> list[Token]:
    """Of three amounts, the one that is the difference of the others is the saving."""
    if len(mains) != 3:
        return mains
    ordered = sorted(mains, key=lambda token: token.value or 0)
    small, low, high = (token.value or Decimal(0) for token in ordered)
    return [token for token in mains if token is not ordered[0]] if high - low == small else mains


def swap_lower_list(found: Sequence[Token]) -> None:
    """A list price below the price was a phrase about the amount before it."""
    lists = only(Role.LIST, found)
    mains = only(Role.PRICE, found) if len(lists) == 1 else []
    if len(mains) != 1:
        return
    if (lists[0].value or 0) < (mains[0].value or 0):
        lists[0].role, mains[0].role = Role.PRICE, Role.LIST


def mark_usual(found: Sequence[Token], gaps: Sequence[Gap]) -> None:
    """A "regular price" is the price where it stands alone, the list price beside another."""
    said = [(gap, one) for gap in gaps for one in gap.marks.get(Mark.USUAL, ())]
    if not said:
        return
    about = [gap.following(one) for gap, one in said]
    usual = [token for token in about if token is not None and token.role is Role.PRICE]
    if usual:
        for token in usual[: len(only(Role.PRICE, found)) - 1]:
            token.role = Role.LIST


def mark_units(found: Sequence[Token], stretches: Sequence[str]) -> None:
    """An amount "per metre" is the unit price only where another amount is the price."""
    if not [token for token in found if token.per is not None]:
        return
    _share_unit(found, stretches)
    mains = only(Role.PRICE, found)
    with_per = [token for token in mains if token.per is not None]
    if len(with_per) < len(mains):
        for token in with_per:
            token.role = Role.UNIT


def _share_unit(found: Sequence[Token], stretches: Sequence[str]) -> None:
    """`12,90 € - 15,90 € / m`: the unit behind a range holds for both ends."""
    for index in range(1, len(found)):
        low, high = found[index - 1], found[index]
        if high.per and low.per is None and _RANGE.fullmatch(stretches[index]):
            low.per = high.per


def only(role: Role, found: Sequence[Token]) -> list[Token]:
    return [token for token in found if token.role is role]


def without_price(found: Sequence[Token], multi: tuple[Multibuy, ...]) -> PriceText:
    """No plain price: a lone unit price, a list price, a multi-buy, or what else there is."""
    for token in only(Role.UNIT, found):
        if token.value:
            return PriceText(token.value, token.code, per=token.per, multibuy=multi)
    if multi:
        return PriceText(currency=only(Role.MULTI, found)[0].code, multibuy=multi)
    for token in only(Role.LIST, found):
        return PriceText(None, token.code, token.value, doubt=doubt_of(token))
    for token in only(Role.UPTO, found):
        return PriceText(None, token.code, high=token.value, doubt="up to")
    return PriceText(currency=found[0].code, doubt=str(found[0].role))


def _list_amount(price: Decimal, found: Sequence[Token]) -> Decimal | None:
    lists = [
        token.value
        for token in found
        if token.role is Role.LIST and token.value is not None and token.value > price
    ]
    return max(lists) if lists else None


def _from(gaps: Sequence[Gap], token: Token) -> bool:
    for gap in gaps:
        if gap.after is token and Mark.FROM in gap.marks:
            return True
        if gap.after is None and gap.before is token:
            return gap.text.strip() in _AND_UP
    return False


def _taxes(gaps: Sequence[Gap]) -> tuple[bool, bool]:
    """Whether the gaps speak of a price without tax, and of one with it."""
    net = gross = False
    for gap in gaps:
        net = net or Mark.NET in gap.marks
        gross = gross or Mark.GROSS in gap.marks
    return net, gross


def _tax(net: bool, gross: bool) -> Tax:
    """The one tax that is spoken of."""
    if net == gross:
        return Tax.UNKNOWN
    return Tax.EXCLUDED if net else Tax.INCLUDED


def _several(
    text: str,
    mains: list[Token],
    found: list[Token],
    gaps: Sequence[Gap],
    multi: tuple[Multibuy, ...],
) -> PriceText:
    """What several plain amounts say, by the first rule that knows them."""
    code = mains[0].code
    span = _link_ranges(text, mains)
    if span:
        least, per = span[0].value, span[0].per
        return PriceText(least, code, low=least, high=span[1].value, multibuy=multi, per=per)
    mains = _without_saving(_distinct(mains))
    if len(mains) == 1:
        return _single(mains[0], found, gaps, multi)
    net, gross = _taxes(gaps)
    tax = _tax(net, gross)
    low, *between, high = sorted(token.value or Decimal(0) for token in mains)
    if between:
        doubt = "several amounts"
        return PriceText(None, code, low=low, high=high, multibuy=multi, tax=tax, doubt=doubt)
    if is_net_and_gross(low, high, mains[0].code, net=net, gross=gross):
        listed = _list_amount(high, found)
        return PriceText(high, code, listed, multibuy=multi, tax=Tax.INCLUDED)
    return PriceText(low, code, high, multibuy=multi, tax=tax)


def _single(
    token: Token, found: list[Token], gaps: Sequence[Gap], multi: tuple[Multibuy, ...]
) -> PriceText:
    """What the one plain amount says; of tax notes that differ the one behind it counts."""
    price = token.value or Decimal(0)
    net, gross = _taxes(gaps)
    if net and gross:
        net, gross = _taxes([gap for gap in gaps if gap.before is token])
    tax = _tax(net, gross)
    if not price:
        return PriceText(price, token.code, multibuy=multi, tax=tax, doubt="zero")
    low = price if _from(gaps, token) else None
    listed = _list_amount(price, found) if len(found) > 1 else None
    per = None if token.per and only(Role.UNIT, found) else token.per
    return PriceText(price, token.code, listed, low=low, multibuy=multi, per=per, tax=tax)


def _worry(mains: list[Token]) -> str | None:
    """Why the amounts are not to be believed, or None."""
    for token in mains:
        doubt = doubt_of(token)
        if doubt:
            return doubt
    if len(mains) > 1 and not all(token.value for token in mains):
        return "zero"
    return None


def settle(
    text: str,
    mains: list[Token],
    found: list[Token],
    gaps: Sequence[Gap],
    multi: tuple[Multibuy, ...],
    hint: str | None,
) -> PriceText:
    """The plain prices of the text put together."""
    if len(mains) > 1:
        mains = _one_currency(mains, hint)
    worry = _worry(mains)
    if worry:
        return PriceText(currency=mains[0].code, multibuy=multi, doubt=worry)
    if len(mains) == 1:
        return _single(mains[0], found, gaps, multi)
    return _several(text, mains, found, gaps, multi)
