"""What was bought and what became of it: purchases, orders, bills, movements, offcuts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

from service.model.builds import Cut
from service.model.money import Money

LineState = Literal[
    "ordered", "part arrived", "arrived", "wrong", "cancelled", "returned", "refunded"
]
StepKind = Literal["arrived", "wrong", "cancelled", "returned", "refunded"]
BillKind = Literal["postage", "customs", "carrier", "fee"]
MovementKind = Literal["used", "moved", "sold", "written off", "good"]


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

    @property
    def paid(self) -> Money:
        """What left the account for it."""
        return self.debited or self.total


@dataclass(frozen=True, slots=True)
class Step:
    """What happened to `count` units of sale of an order's line. `money`: a refund."""

    kind: StepKind
    on: date
    count: Decimal
    money: Money | None = None
    postage: Money | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """A line of an order: the purchase that it is, and all that happened to it, in time order."""

    purchase: int
    steps: tuple[Step, ...] = ()
    listing: str | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """An order at a supplier. `estimate`: what tax, duty and fees were thought to come to."""

    key: str
    on: date
    supplier: str | None = None
    lines: tuple[OrderLine, ...] = ()
    estimate: Money | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class OrderBill:
    """Money asked for an order as a whole, at once or later."""

    order: str
    kind: BillKind
    cost: Money
    on: date
    note: str = ""
    id: int = 0


@dataclass(frozen=True, slots=True)
class Movement:
    """`amount` base units of a part go somewhere.

    used: into `build` (below 0: out of it, on hand again); moved: out of `build` into `to`;
    sold, written off: from hand or out of `build`, for good; good: what is on hand is still
    good that day, however old.
    """

    part: str
    kind: MovementKind
    amount: Decimal
    on: date
    build: str | None = None
    to: str | None = None
    repair: bool = False
    money: Money | None = None  # proceeds
    postage: Money | None = None
    note: str = ""
    id: int = 0


@dataclass(frozen=True, slots=True)
class Offcut:
    """Bodies of a part that are left over, of one size; `cut.count` of them."""

    part: str
    cut: Cut
    id: int = 0
