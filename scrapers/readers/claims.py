"""What the readers hand on: products, offers and amounts, each with the place it stood.

A reader reports, it does not judge: `scrapers.reconcile` weighs the claims.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Choice, Ids, Multibuy, Source, Tax, UnitPrice


@dataclass(frozen=True, slots=True)
class Offer:
    """One offer of a product, as one source states it.

    `price` is the amount for everyone at quantity 1; `zero` tells a stated 0.
    `doubt` says why the price must not be used without another source.
    """

    where: str
    price: Decimal | None = None
    text: str = ""
    currency: str | None = None
    list_price: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    availability: Availability = Availability.UNKNOWN
    tax: Tax = Tax.UNKNOWN
    member_price: Decimal | None = None
    unit_price: UnitPrice | None = None
    multibuy: tuple[Multibuy, ...] = ()
    shipping: Decimal | None = None
    name: str | None = None
    sku: str | None = None
    gtin: str | None = None
    mpn: str | None = None
    url: str | None = None
    country: str | None = None
    zero: bool = False
    used: bool = False
    seller: str | None = None
    until: date | None = None  # the last day on which the price holds
    doubt: str | None = None


@dataclass(frozen=True, slots=True)
class Product:
    """One thing that the page describes in one of its syntaxes.

    `main`: nothing in the markup says that it is a neighbour, list entry or
    accessory. `goods`: its type is one that shops sell (Product and its kinds).
    """

    source: Source
    where: str
    title: str | None = None
    ids: Ids = field(default_factory=Ids)
    url: str | None = None
    main: bool = True
    goods: bool = True
    offers: tuple[Offer, ...] = ()
    aggregate: Offer | None = None
    choices: tuple[Choice, ...] = ()
    description: str | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """An amount in the text that a visitor sees.

    `kind`: now, list, low, saving, unit, net, gross, shipping, instalment, tier,
    member, lowest30, points, option, other. `level`: how far up from the heading
    one must climb to find both; the smaller, the nearer. `label`: the words before the amount.
    `ahead`: plain text above the heading, where banners stand.
    """

    amount: Decimal
    currency: str | None
    kind: str
    text: str
    where: str
    level: int = 0
    order: int = 0
    tax: Tax = Tax.UNKNOWN
    low: Decimal | None = None
    high: Decimal | None = None
    per: str | None = None
    list_amount: Decimal | None = None
    strong: bool = False
    named: bool = True
    group: int = 0
    parent: int = 0
    label: str = ""
    ahead: bool = False
    node: LexborNode | None = field(default=None, compare=False, repr=False)
