"""Country rules for announced reductions: dated data, not code."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any, Literal


@dataclass(frozen=True, slots=True)
class DiscountRule:
    """From which price a reduction is measured. The keys are explained in the data file."""

    since: date = date(2022, 5, 28)
    country: str | None = None
    window_days: int = 30
    stepwise: Literal["each", "first"] = "each"
    campaign_days: int | None = None
    new_goods: bool = False
    source: str = "Directive 98/6/EC Art. 6a"


@cache
def discount_rules() -> tuple[DiscountRule, ...]:
    """All rules of the data file, oldest first. TypeError: a row holds an unknown key."""
    text = (files("service.data") / "discount_rules.toml").read_text(encoding="utf-8")
    rows: list[dict[str, Any]] = tomllib.loads(text)["rule"]
    return tuple(sorted((DiscountRule(**row) for row in rows), key=lambda rule: rule.since))


def rule_for(country: str | None, day: date) -> DiscountRule:
    """The newest rule in force on `day`: the country's own, else the general one."""
    in_force = [rule for rule in discount_rules() if rule.since <= day]
    own = [rule for rule in in_force if rule.country == country]
    general = [rule for rule in in_force if rule.country is None]
    return (own or general or [DiscountRule()])[-1]
