"""An amount of a price text: the number, its currency, its unit, what it is to a visitor."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from scrapers.texts.clean import POINT
from scrapers.texts.currencies import SIGNS

if TYPE_CHECKING:
    from decimal import Decimal

    from scrapers.texts.currencies import Symbol


class Role(StrEnum):
    """What an amount is to a visitor. The values are the doubts that a lone one raises."""

    PRICE = "price"
    LIST = "list price"
    UNIT = "unit price"
    MULTI = "multi-buy"
    INSTALMENT = "instalment"
    SAVING = "saving"
    SHIPPING = "shipping"
    EXTRA = "difference"
    MEMBER = "member price"
    PRIOR = "prior price"
    TIMES = "quantity times price"
    NEGATIVE = "negative"
    THRESHOLD = "order value"
    UPTO = "up to"
    CART = "cart total"


class Token:
    """A number where it stands; `start` to `end` cover its currency and unit too.

    What few tokens have set stands here with its default: a token costs less to make so.
    """

    maybe: Symbol | None = None  # the currency where neither the text nor the page tells it
    per: str | None = None
    minor_coin: bool = False
    negative: bool = False
    rounded: bool = False
    lead_digit: bool = True  # the number stands before its currency
    fixed: bool = False  # known as the price of one unit: no word around it changes that
    value: Decimal | None = None
    code: str | None = None

    def __init__(self, start: int, end: int, raw: str) -> None:
        self.start = start
        self.end = end
        self.raw = raw
        self.symbol: Symbol | None = None
        self.role = Role.PRICE

    @property
    def is_whole(self) -> bool:
        return self.raw.isdigit()


SIGN: Final = rf"(?:(?<![^\W_])(?:JP|CN)¥|[{re.escape(SIGNS)}])"
DOLLAR_SIGN: Final = (
    r"(?:(?<![^\W\d_])(?:USA?|AU|A|CAN?|CDN|C|NZ|HK|SG|S|NT|MX|Mex|R|AR|CL|COL?|J|TT|EC|FJ|N|U|"
    r"USD|AUD|CAD|NZD|HKD|SGD|TWD|MXN|BRL|ARS|CLP|COP)\s?)?\$(?:\s?(?:USD?|SU|CAD?|AUD?|U|NZ)(?![^\W\d_]))?"
)
ALONE: Final = frozenset(SIGNS) - frozenset("$¥元圆円圓원")  # signs that are nobody's part
NUMBER: Final = re.compile(
    r"[0-9.,](?:(?<=[0-9])(?:[0-9]{0,2}(?:[ '][0-9]{3}(?![0-9]))+|[0-9]*)"
    rf"(?:[.,'{POINT}][0-9]+)*"
    rf"|(?<=[.,])(?<![\w.,].)[0-9]+(?:[.,][0-9]+)*)"
)
