"""What became of each unit of an order's line: its state, and where every portion is.

A line of `count` units: some arrived, some came wrong or broken, some were cancelled, some
went back. What arrives beyond the rest replaces what came wrong. A step `arrived` below 0
takes back what was thought to be right.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.model.orders import LineState, OrderLine, Step

NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Portions:
    """Units of sale of one line by where they are. `arrived`: with the days they came."""

    arrived: tuple[tuple[date, Decimal], ...]
    coming: Decimal
    wrong: Decimal
    returned: Decimal
    cancelled: Decimal
    refunded: bool = False

    @property
    def here(self) -> Decimal:
        """Units that arrived and stayed."""
        return sum((count for _, count in self.arrived), NONE)

    @property
    def state(self) -> LineState:
        """The one word for the line."""
        if not self.here and not self.coming and not self.wrong:
            if not self.returned:
                return "cancelled"
            return "refunded" if self.refunded else "returned"
        if self.wrong:
            return "wrong"
        if self.coming:
            return "part arrived" if self.here else "ordered"
        return "arrived"


def portions(line: OrderLine, count: Decimal, day: date | None = None) -> Portions:
    """The line's units after all that happened up to `day`."""
    steps = [step for step in line.steps if day is None or step.on <= day]
    arrived, wrong, cancelled, returned = (
        _sum(steps, kind) for kind in ("arrived", "wrong", "cancelled", "returned")
    )
    replaced = max(NONE, arrived + wrong + cancelled - count)
    bad = max(NONE, wrong - replaced)
    bad_back = min(returned, bad)
    back = max(NONE, returned - wrong)
    came = [(s.on, s.count) for s in steps if s.kind == "arrived"]
    kept = _without([entry for entry in came if entry[1] > 0], back + _undone(came))
    return Portions(
        arrived=tuple(kept),
        coming=max(NONE, count - cancelled - arrived - wrong),
        wrong=bad - bad_back,
        returned=bad_back + max(NONE, back - max(NONE, replaced - wrong)),
        cancelled=cancelled,
        refunded=any(step.money is not None for step in steps if step.kind != "cancelled"),
    )


def _sum(steps: Iterable[Step], kind: str) -> Decimal:
    return sum((step.count for step in steps if step.kind == kind), NONE)


def _undone(came: Iterable[tuple[date, Decimal]]) -> Decimal:
    return -sum((count for _, count in came if count < 0), NONE)


def _without(arrived: list[tuple[date, Decimal]], back: Decimal) -> list[tuple[date, Decimal]]:
    """What was sent back is the last that came."""
    kept = []
    for day, count in reversed(arrived):
        gone = min(count, back)
        back -= gone
        if count > gone:
            kept.append((day, count - gone))
    return kept[::-1]
