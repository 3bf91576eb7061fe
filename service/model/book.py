"""The book: all that the user's catalogue files say, as one value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from service.model.builds import Build
from service.model.catalogue import Listing, Part, Supplier
from service.model.deals import Target
from service.model.orders import Movement, Offcut, Order, OrderBill, Purchase

DISMISSED: Final = "dismissed."  # setting: companion hints put aside, by build
RULES: Final = "companion.rules"  # setting: the user's own companion rules, as TOML


@dataclass(frozen=True, slots=True)
class Book:
    """All that is kept beside prices. What has a key stands under it.

    A line of one of the `orders` names the place of its purchase in `purchases` (from 0).
    `dismissed`: by build the companion rules put aside; `companion_rules`: the user's own.
    """

    suppliers: tuple[Supplier, ...] = ()
    parts: tuple[Part, ...] = ()
    listings: tuple[Listing, ...] = ()
    builds: tuple[Build, ...] = ()
    purchases: tuple[Purchase, ...] = ()
    targets: tuple[Target, ...] = ()
    orders: tuple[Order, ...] = ()
    bills: tuple[OrderBill, ...] = ()
    movements: tuple[Movement, ...] = ()
    offcuts: tuple[Offcut, ...] = ()
    dismissed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    companion_rules: str = ""
