"""Amounts lying in one place, first in first out, each with what it cost."""

from __future__ import annotations

from bisect import insort_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import NamedTuple


class Lot(NamedTuple):
    """An amount of one purchase (`source`, from its base unit `start` on), and the day it came."""

    amount: Fraction
    each: Fraction
    on: date
    source: int = 0
    start: Fraction = Fraction(0)


@dataclass(slots=True)
class Heap:
    """Amounts with their cost each and the day they came, oldest first."""

    lots: list[Lot] = field(default_factory=list)

    def put(self, lots: Iterable[Lot]) -> None:
        """Add lots, keeping the oldest first; of one day those that came first."""
        for lot in lots:
            insort_right(self.lots, lot, key=lambda one: one.on)

    def take(self, amount: Fraction) -> list[Lot]:
        """Up to `amount`, oldest first."""
        taken: list[Lot] = []
        whole = 0
        while whole < len(self.lots) and self.lots[whole].amount <= amount:
            lot = self.lots[whole]
            amount -= lot.amount
            whole += 1
            if lot.amount:
                taken.append(lot)
        del self.lots[:whole]
        if amount > 0 and self.lots:
            lot = self.lots[0]
            taken.append(lot._replace(amount=amount))
            self.lots[0] = lot._replace(amount=lot.amount - amount, start=lot.start + amount)
        return taken

    @property
    def amount(self) -> Fraction:
        """How much there is."""
        return sum((lot[0] for lot in self.lots), Fraction(0))

    @property
    def cost(self) -> Fraction:
        """What it cost."""
        return worth(self.lots)


def worth(lots: Iterable[Lot]) -> Fraction:
    """Amount x cost each, summed."""
    return sum((lot.amount * lot.each for lot in lots), Fraction(0))
