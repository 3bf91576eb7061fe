"""What a build needs, line by line, and what the lines say about counting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Literal

from scrapers import Amount
from service.model.money import Money

CountsKind = Literal["share", "whole", "owned", "shared", "stock", "tool"]


@dataclass(frozen=True, slots=True)
class Counts:
    """How a line counts: `shared` carries among how many models."""

    kind: CountsKind = "share"
    among: int = 1

    def __str__(self) -> str:
        return f"shared {self.among}" if self.kind == "shared" else self.kind


@dataclass(frozen=True, slots=True)
class Cut:
    """`count` pieces of `length` mm (bars) or of `size` mm x mm (sheets)."""

    count: int
    length: Decimal | None = None
    size: tuple[Decimal, Decimal] | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to fill a line: a part and its own amount."""

    part: str
    amount: Amount


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a parts list: a part, a requirement (`need`), or alternatives (`choose`).

    `waste` is a fraction of the amount (0.1 = 10 % more is used up), `kerf` mm, `hours` of
    the builder's own work. `mixed`: the part whose component a line is, set where a mixed
    part is split; no file names it.
    """

    amount: Amount
    group: str = "other"
    part: str | None = None
    need: Mapping[str, str] = field(default_factory=dict)
    choose: tuple[Alternative, ...] = ()
    counts: Counts = Counts()
    waste: Decimal = Decimal(0)
    kerf: Decimal = Decimal(0)
    cuts: tuple[Cut, ...] = ()
    longest: Amount | None = None
    grain: str | None = None
    listing: str | None = None  # fixed by the user
    note: str = ""
    hours: Decimal | None = None
    mixed: str | None = None


@dataclass(frozen=True, slots=True)
class Replacement:
    """In a version: part `old` gives way to `new`, with another amount where given."""

    old: str
    new: str | None
    amount: Amount | None = None


@dataclass(frozen=True, slots=True)
class Build:
    """A parts list with its budget. `base`: the build that this version derives from.

    `hours`: work that belongs to no line; `labour_rate`: what an hour counts, if it counts.
    """

    key: str
    name: str
    currency: str
    lines: tuple[Line, ...] = ()
    budget: Decimal | None = None
    need_by: date | None = None
    destination: str | None = None
    base: str | None = None
    replace: tuple[Replacement, ...] = ()
    state: str = "planned"
    hours: Decimal | None = None
    labour_rate: Money | None = None
