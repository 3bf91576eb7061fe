"""Values as catalogue text, None where there is nothing to say."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from scrapers import Amount, format_amount
from service.exchange.catalogue.values import plain

if TYPE_CHECKING:
    from service.model.builds import Cut
    from service.model.money import Money

Content = dict[str, Any]


def kept(content: Content) -> Content:
    """Without what says nothing: None, empty text, lists and tables."""
    return {name: item for name, item in content.items() if item not in (None, "", [], {}, ())}


def amount_of(amount: Amount | None) -> str | None:
    """As people write it."""
    return None if amount is None else format_amount(amount)


def money_of(money: Money | None) -> str | None:
    """With its currency."""
    return None if money is None else str(money)


def plain_of(number: Decimal | None) -> str | None:
    """Without exponent and trailing zeros."""
    return None if number is None else plain(number)


def cut_text(piece: Cut) -> str:
    """Edges and count: `300 mm x 4`."""
    edges = piece.size or (piece.length or Decimal(0),)
    return f"{' x '.join(f'{plain(edge)} mm' for edge in edges)} x {piece.count}"
