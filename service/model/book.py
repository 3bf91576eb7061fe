"""The book: all that the user's catalogue files say, as one value."""

from __future__ import annotations

from dataclasses import dataclass

from service.model.builds import Build
from service.model.catalogue import Listing, Part, Supplier
from service.model.deals import Target
from service.model.orders import Purchase


@dataclass(frozen=True, slots=True)
class Book:
    """Suppliers, parts, listings, builds, purchases and targets, each under its key."""

    suppliers: tuple[Supplier, ...] = ()
    parts: tuple[Part, ...] = ()
    listings: tuple[Listing, ...] = ()
    builds: tuple[Build, ...] = ()
    purchases: tuple[Purchase, ...] = ()
    targets: tuple[Target, ...] = ()
