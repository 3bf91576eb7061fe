"""The amounts that a labelled text tells: its price, a struck one beside it, a label's alone."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from scrapers.model import PriceText
from scrapers.readers import labels
from scrapers.readers.context import for_reading
from scrapers.readers.labelled import BESIDE, Labelled
from scrapers.readers.leaves import Leaf
from scrapers.readers.pricelike import AMOUNT, squeeze
from scrapers.readers.sums import bare
from scrapers.texts import read_price

LEAST_FEE = 8  # times: hardly a price is ever cut to an eighth
_STRUCK = "del, s, strike"


@dataclass(frozen=True, slots=True)
class Hints:
    """What the whole page tells of its money: settles "$" and separators."""

    locale: str | None
    currency: str | None

    def read(self, text: str) -> PriceText | None:
        return read_price(text, locale=self.locale, currency=self.currency)

    def read_bare(self, text: str) -> PriceText | None:
        """The amount alone, where its label makes it no price ("Old price: 9.00")."""
        alone = bare(text)
        return None if alone is None else self.read(alone)


def told_by(one: Labelled, hints: Hints) -> PriceText | None:
    """What the text says, with a doubt where it has no certain amount; None where it says none."""
    told = hints.read(for_reading(one.text, one.words))
    if one.kind in BESIDE and (told is None or told.amount is None):
        told = _of_label(told, one.text, hints)
    if told is None:
        return None
    told = _for_all(told, one)
    if told.amount is not None and told.list_amount is None:
        return told._replace(list_amount=_struck_in(one.leaf, told.amount, hints))
    return told


def _of_label(told: PriceText | None, text: str, hints: Hints) -> PriceText | None:
    """A text that tells no price tells the amount that its label names."""
    known = told.list_amount if told else None
    return told._replace(amount=known) if told and known else hints.read_bare(text)


def _for_all(told: PriceText, one: Labelled) -> PriceText:
    """Of a text with two amounts that which all pay: neither the members' nor a fee."""
    if told.amount is None and told.list_amount is not None and labels.MEMBER.search(one.text):
        return told._replace(amount=told.list_amount, list_amount=None, doubt=None)
    if told.amount and told.list_amount and _is_fee(one, told.amount, told.list_amount):
        return told._replace(amount=told.list_amount, list_amount=None)
    return told


def _is_fee(one: Labelled, low: Decimal, high: Decimal) -> bool:
    """Whether the lower amount of a text is a small fee or reward, not the price after a sale."""
    if high < low * LEAST_FEE or labels.LIST.search(one.text) or labels.SAVING.search(one.text):
        return False
    return one.leaf.node.css_first(_STRUCK) is None


def _struck_in(leaf: Leaf, amount: Decimal, hints: Hints) -> Decimal | None:
    """A higher amount without a sign of its own, struck within the element."""
    if leaf.own or len(AMOUNT.findall(leaf.raw)) < 2:
        return None
    inner = leaf.node.css_first(_STRUCK)
    told = hints.read_bare(squeeze(inner.text())) if inner is not None else None
    listed = told.amount if told is not None else None
    return listed if listed is not None and amount < listed < amount * LEAST_FEE else None
