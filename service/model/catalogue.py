"""What the user edits: suppliers, parts and where each is sold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from typing import Literal

from scrapers import Amount

DEFAULT_EVERY = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class ShippingRow:
    """A delivery price to a country (`*`: everywhere else), in the supplier's currency."""

    to: str
    fee: Decimal
    free_from: Decimal | None = None  # order value
    up_to_g: Decimal | None = None  # parcel mass
    up_to: Decimal | None = None  # order value
    days: str | None = None  # promised, e.g. "2-4"
    classes: tuple[str, ...] = ()  # only for orders with these goods classes
    not_classes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fee:
    """What a supplier adds to an order: an amount, or `percent` of its value (1.5: 1.5 %)."""

    name: str
    amount: Decimal | None = None
    percent: Decimal | None = None
    when_class: str | None = None


@dataclass(frozen=True, slots=True)
class Supplier:
    """A shop. `prices` says whether its pages show prices with tax."""

    key: str
    name: str
    home: str | None = None
    country: str | None = None
    currency: str | None = None
    prices: Literal["with-tax", "without-tax"] = "with-tax"
    shipping: tuple[ShippingRow, ...] = ()
    min_gap: timedelta | None = None
    min_order: Decimal | None = None
    contact_note: str | None = None
    fees: tuple[Fee, ...] = ()


@dataclass(frozen=True, slots=True)
class Equivalent:
    """Another part that serves the same need, with a remark."""

    part: str
    note: str = ""
    one_way: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """A thing that builds need, counted in `unit`. `spec`: canonical text values.

    `mix`: parts by mass of what is mixed of two components (100, 42); `mix_of`: the parts
    that they are, where they are sold apart.
    """

    key: str
    name: str
    unit: str
    spec: Mapping[str, str] = field(default_factory=dict)
    classes: tuple[str, ...] = ()
    mass: Amount | None = None  # of one unit
    density: Decimal | None = None  # g/ml
    areal_mass: Decimal | None = None  # g/m2
    tariff_group: str | None = None
    ids: Mapping[str, str] = field(default_factory=dict)
    keep: Amount | None = None  # least amount to have on hand
    shelf_life: timedelta | None = None
    pair_is: int = 2  # pieces
    equivalents: tuple[Equivalent, ...] = ()
    mix: tuple[Decimal, ...] = ()
    mix_of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Break:
    """A price for at least `quantity` units of sale: each, or for the lot."""

    quantity: int
    price: Decimal
    per: Literal["lot", "each"] = "each"


@dataclass(frozen=True, slots=True)
class Supply:
    """What one unit of sale holds of a part. `split`: its share of the price (0..1)."""

    part: str
    amount: Amount
    split: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """One product page, or a price by hand (no `url`). A set supplies several parts.

    `key` names it for good: its URL, with the choice behind `#` where one is
    named; without a URL `supplier/part`. `id` is the store's (0: not stored).
    """

    key: str
    supplier: str
    supplies: tuple[Supply, ...]
    url: str | None = None
    every: timedelta = DEFAULT_EVERY
    choice: str | None = None
    rule: Mapping[str, str] = field(default_factory=dict)
    render: bool = False
    includes: tuple[Supply, ...] = ()
    breaks: tuple[Break, ...] = ()
    least: Amount | None = None
    step: Amount | None = None
    days: str | None = None
    country: str | None = None  # of the warehouse
    id: int = 0

    @property
    def is_set(self) -> bool:
        """Whether one purchase brings more than one part."""
        return len(self.supplies) > 1

    def holds(self, part: str) -> Supply | None:
        """What one unit of sale holds of `part`."""
        return next((s for s in self.supplies if s.part == part), None)


def listing_key(supplier: str, part: str, url: str | None, choice: str | None) -> str:
    """The lasting name of a listing; a part may have several choices on one page."""
    if url is None:
        return f"{supplier}/{part}"
    return f"{url}#{choice}" if choice else url
