"""Targets that the user sets, deals that meet them, notices that tell of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Any, Literal

from service.model.money import Money

CONDITIONS = (
    "at_or_below",
    "unit_at_or_below",
    "below_regular",
    "lowest_in",
    "back_in_stock",
    "within_budget",
)


@dataclass(frozen=True, slots=True)
class Target:
    """The user's threshold on one subject, with exactly one condition.

    `below_regular` is a fraction (0.15 = 15 %); `per` the unit of
    `unit_at_or_below`. `key` is made of subject and condition and stays the
    same when the catalogue is loaded again.
    """

    key: str
    kind: Literal["listing", "part", "need", "build"]
    subject: str
    at_or_below: Money | None = None
    unit_at_or_below: Money | None = None
    per: str | None = None
    below_regular: Decimal | None = None
    lowest_in: timedelta | None = None
    back_in_stock: bool = False
    within_budget: Literal["to_spend", "delivered", "share"] | None = None
    need: dict[str, str] = field(default_factory=dict)
    until: date | None = None
    hold: timedelta | None = None  # how long the condition must hold before it tells
    reopen_above: Money | None = None
    again_below: Money | None = None


def condition_text(target: Target) -> str:
    """The condition in words."""
    if target.at_or_below:
        return f"at or below {target.at_or_below}"
    if target.unit_at_or_below:
        return f"at or below {target.unit_at_or_below}/{target.per}"
    if target.below_regular is not None:
        return f"{(target.below_regular * 100).normalize():f} % below its regular price"
    if target.lowest_in:
        return f"lowest in {target.lowest_in.days} days"
    if target.within_budget:
        return f"within budget ({target.within_budget.replace('_', ' ')})"
    return "back in stock"


class DealState(StrEnum):
    """Open while the target is met; closed with a reason when it no longer is."""

    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Deal:
    """One episode of a target being met, with the evidence for it.

    `value` is what was compared (price, unit price or total); `listing` the
    one that met it; `evidence` where the price stood.
    """

    key: str
    target: str
    kind: str
    subject: str
    state: DealState
    opened_at: datetime
    value: Money | None = None  # back in stock on a page that shows no price
    listing: str | None = None
    closed_at: datetime | None = None
    close_reason: str | None = None
    evidence: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class Notice:
    """A message about a deal for one channel. `key` is the same at every try."""

    key: str
    channel: str
    subject: str
    text: str
    data: dict[str, Any]
    created_at: datetime
    attempts: int = 0
