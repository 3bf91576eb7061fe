"""Is a target met by what is known now? Yes, no, or it cannot be told."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from service.model.deals import Target
from service.model.money import Money


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of a target's subject at one time.

    `value`: in the target's currency, for a listing one unit of sale, for a
    part or a requirement its cheapest usable price per unit, for a build its
    total (in-this-model, or the one that `within_budget` names); None with
    `unknown` where there is no price that can be trusted. `unit_value`: per
    `target.per`. `since`: when the offer that `value` rests on began.
    """

    value: Money | None = None
    unit_value: Money | None = None
    listing: str | None = None
    since: datetime | None = None
    available: bool | None = None
    regular: Decimal | None = None  # the subject's regular price, same currency as value
    lowest_before: Decimal | None = None  # of the `lowest_in` span before `since`
    budget: Decimal | None = None
    complete: bool = True  # False: a total that lacks a price
    gone: bool = False
    unknown: str | None = None
    evidence: tuple[dict[str, object], ...] = ()


def is_met(target: Target, standing: Standing) -> bool | None:
    """None: it cannot be told (no trusted price, a total that lacks lines)."""
    if target.back_in_stock:
        return standing.available
    if standing.value is None or not standing.complete:
        return None
    return _compare(target, standing, standing.value.amount)


def _compare(target: Target, standing: Standing, value: Decimal) -> bool | None:
    if target.at_or_below is not None:
        return value <= target.at_or_below.amount
    if target.unit_at_or_below is not None:
        unit = standing.unit_value
        return None if unit is None else unit.amount <= target.unit_at_or_below.amount
    if target.below_regular is not None:
        return _under(value, standing.regular, 1 - target.below_regular)
    if target.lowest_in is not None:
        return _under(value, standing.lowest_before, Decimal(1))
    if target.within_budget is not None:
        return _under(value, standing.budget, Decimal(1))
    raise ValueError(f"target {target.key} has no condition")


def _under(value: Decimal, bound: Decimal | None, factor: Decimal) -> bool | None:
    return None if bound is None else value <= bound * factor


def has_ended(target: Target, today: date) -> bool:
    """Whether the day that the user set as the last is past."""
    return target.until is not None and today > target.until
