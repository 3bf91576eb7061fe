"""What the files say, each thing with its place, before references are followed."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Final, Generic, TypeVar

from scrapers import Amount

if TYPE_CHECKING:
    from datetime import date

    from service.model.builds import Build
    from service.model.catalogue import Listing, Part, Supplier
    from service.model.deals import Target
    from service.model.money import Money
    from service.model.orders import Movement, Offcut, Order, OrderBill, Step

V = TypeVar("V")

NO_AMOUNT: Final = Amount(Decimal(0), "piece")  # stands where a wrong one was noted


@dataclass(frozen=True, slots=True)
class Found(Generic[V]):
    """A value and where it stands (`FILE: KEY PATH`)."""

    value: V
    where: str


@dataclass(frozen=True, slots=True)
class PurchaseDraft:
    """A purchase as written: of a part or a set, at a price each or for all."""

    part: str | None
    set: str | None
    supplier: str | None
    count: Decimal
    total: Money | None
    debited: Money | None
    on: date | None
    order: str | None
    condition: str
    sold_as: Amount | None
    listing: str | None = None
    happened: tuple[Step, ...] | None = None  # None: no line of an order
    line: int = 0  # its place in the order, from 1; 0: as the file has it


@dataclass(frozen=True, slots=True)
class MovementDraft:
    """A movement as written, its amount not yet in the part's base unit."""

    entry: Movement
    amount: Amount | None
    back: bool = False


@dataclass(frozen=True, slots=True)
class Draft:
    """All files together. `fallback` currency "": a version takes its base's."""

    suppliers: list[Found[Supplier]] = field(default_factory=list)
    parts: list[Found[Part]] = field(default_factory=list)
    listings: list[Found[Listing]] = field(default_factory=list)
    builds: list[Found[Build]] = field(default_factory=list)
    purchases: list[Found[PurchaseDraft]] = field(default_factory=list)
    targets: list[Found[Target]] = field(default_factory=list)
    orders: list[Found[tuple[Order, tuple[OrderBill, ...]]]] = field(default_factory=list)
    movements: list[Found[MovementDraft]] = field(default_factory=list)
    offcuts: list[Found[Offcut]] = field(default_factory=list)
    dismissed: list[Found[tuple[str, tuple[str, ...]]]] = field(default_factory=list)
    companion_rules: list[str] = field(default_factory=list)
    mentioned: list[Found[str]] = field(default_factory=list)  # parts known elsewhere
