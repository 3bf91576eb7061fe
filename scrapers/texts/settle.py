"""The amounts of a price text put together into what one unit costs."""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

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


def _distinct(mains: list[Token]) -> list[Token]:
    """Without repeats: screen readers get the same amount again."""
    if len(mains) < 2:
        return mains
    return [
        token for i, token in enumerate(mains) if all(token.value != e.value for e in mains[:i])
    ]


def _without_saving(mains: list[Token]) -> list[Token]:
    """Of three amounts, the one that is the difference of the others is the saving."""
    if len(mains) != 3:
        return mains
    ordered = sorted(mains, key=lambda token: token.value or 0)
    small, low, high = (token.value or Decimal(0) for token in ordered)
    return [token for token in mains if token is not ordered[0]] if high - low == small else mains


def _net_and_gross(mains: list[Token], *, net: bool, gross: bool) -> bool:
    if len(mains) != 2:
        return False
    low, high = sorted(token.value or Decimal(0) for token in mains)
    return is_net_and_gross(low, high, mains[0].code, net=net, gross=gross)


def swap_lower_list(found: Sequence[Token]) -> None:
    """A list price below the price was a phrase about the amount before it."""
    lists = only(Role.LIST, found)
    mains = only(Role.PRICE, found) if len(lists) == 1 else []
    if len(mains) != 1:
        return
    if (lists[0].value or 0) < (mains[0].value or 0):
        lists[0].role, mains[0].role = Role.PRICE, Role.LIST


def mark_usual(gaps: Sequence[Gap]) -> None:
    """A "regular price" is the price where it stands alone, the list price beside another."""
    usual = [
        token
        for gap in gaps
        for said in gap.marks.get(Mark.USUAL, ())
        if (token := gap.following(said)) is not None and token.role is Role.PRICE
    ]
    if not usual:
        return
    mains = sum(gap.after is not None and gap.after.role is Role.PRICE for gap in gaps)
    for token in usual[: mains - 1]:
        token.role = Role.LIST


def share_unit(found: Sequence[Token], stretches: Sequence[str]) -> None:
    """`12,90 € - 15,90 € / m`: the unit behind a range holds for both ends."""
    for index in range(1, len(found)):
        low, high = found[index - 1], found[index]
        if high.per and low.per is None and _RANGE.fullmatch(stretches[index]):
            low.per = high.per


def mark_units(found: list[Token]) -> None:
    """An amount "per metre" is the unit price only where another amount is the price."""
    with_per = [token for token in found if token.per is not None and token.role is Role.PRICE]
    if with_per and len(with_per) < len(only(Role.PRICE, found)):
        for token in with_per:
            token.role = Role.UNIT


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
    last = gaps[-1]
    return bool(last.text) and last.before is token and last.text.strip() in _AND_UP


def _taxes(gaps: Sequence[Gap]) -> tuple[bool, bool]:
    """Whether the gaps speak of a price without tax, and of one with it."""
    net = gross = False
    for gap in gaps:
        if gap.marks:
            net = net or Mark.NET in gap.marks
            gross = gross or Mark.GROSS in gap.marks
    return net, gross


def _tax(gaps: Sequence[Gap], token: Token | None = None) -> Tax:
    """What the text says of tax; of notes that differ the one behind the amount counts."""
    net, gross = _taxes(gaps)
    if net and gross and token is not None:
        net, gross = _taxes([gap for gap in gaps if gap.before is token])
    if net == gross:
        return Tax.UNKNOWN
    return Tax.EXCLUDED if net else Tax.INCLUDED


def _several(
    text: str, mains: list[Token], found: list[Token], gaps: Sequence[Gap]
) -> dict[str, Any]:
    """The fields that several plain amounts give, by the first rule that knows them."""
    span = _link_ranges(text, mains)
    if span:
        return {
            "amount": span[0].value,
            "low": span[0].value,
            "high": span[1].value,
            "per": span[0].per,
        }
    mains = _without_saving(_distinct(mains))
    net, gross = _taxes(gaps)
    if _net_and_gross(mains, net=net, gross=gross):
        top = max(token.value or Decimal(0) for token in mains)
        return {"amount": top, "list_amount": _list_amount(top, found), "tax": Tax.INCLUDED}
    values = sorted(token.value for token in mains if token.value is not None)
    if len(values) == 2:
        return {"amount": values[0], "list_amount": values[1], "tax": _tax(gaps)}
    if len(values) > 2:
        doubt = "several amounts"
        return {"low": values[0], "high": values[-1], "tax": _tax(gaps), "doubt": doubt}
    return _single(mains[0], found, gaps)


def _single(token: Token, found: list[Token], gaps: Sequence[Gap]) -> dict[str, Any]:
    price = token.value or Decimal(0)
    tax = _tax(gaps, token)
    if not price:
        return {"amount": price, "doubt": "zero", "tax": tax}
    low = price if _from(gaps, token) else None
    if len(found) == 1:
        return {"amount": price, "low": low, "per": token.per, "tax": tax}
    return {
        "amount": price,
        "low": low,
        "per": None if only(Role.UNIT, found) else token.per,
        "list_amount": _list_amount(price, found),
        "tax": tax,
    }


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
    worry = doubt_of(mains[0])
    if len(mains) > 1:
        worry = worry or next((why for token in mains[1:] if (why := doubt_of(token))), None)
        if worry is None and not all(token.value for token in mains):
            worry = "zero"
    if worry:
        return PriceText(currency=mains[0].code, multibuy=multi, doubt=worry)
    if len(mains) == 1:
        fields = _single(mains[0], found, gaps)
    else:
        fields = _several(text, mains, found, gaps)
    return PriceText(currency=mains[0].code, multibuy=multi, **fields)
