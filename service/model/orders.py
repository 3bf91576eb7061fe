"""What was bought: purchases and the orders they belong to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.model.money import Money


@dataclass(frozen=True, slots=True)
class Purchase:
    """`count` units of sale bought of a listing (or so many of the part's own units).

    `total` is the page amount of all of them; `debited` what really left the
    account. `content` is how much of the part one unit holds, in base units.
    """

    part: str
    count: Decimal
    total: Money
    content: Decimal = Decimal(1)
    supplier: str | None = None
    on: date | None = None
    debited: Money | None = None
    order: str | None = None
    condition: str = "new"
    id: int = 0
