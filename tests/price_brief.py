"""A price reading in one line, so that tables of cases show every field that is set."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal

    from scrapers.model import PriceText


def plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def brief(read: PriceText | None) -> str:
    """`amount currency list= low= high= per= tax quantity@price/per ?doubt`; "None" for none."""
    if read is None:
        return "None"
    amounts = (
        ("", read.amount),
        ("list=", read.list_amount),
        ("low=", read.low),
        ("high=", read.high),
    )
    words = [f"{name}{plain(value)}" for name, value in amounts if value is not None]
    if read.currency:
        words.insert(1 if read.amount is not None else 0, read.currency)
    words += [f"per={read.per.replace(' ', '_')}"] if read.per else []
    words += [str(read.tax)] if read.tax != "unknown" else []
    words += [f"{deal.quantity}@{plain(deal.price)}/{deal.per}" for deal in read.multibuy]
    return " ".join([*words, *([f"?{read.doubt.replace(' ', '_')}"] if read.doubt else [])])
