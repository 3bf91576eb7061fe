"""Amounts lying in one place, first in first out, each with what it cost."""

from __future__ import annotations

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
        """Add lots, keeping the oldest first."""
        self.lots = sorted([*self.lots, *lots], key=lambda lot: lot.on)

    def take(self, amount: Fraction) -> list[Lot]:
        """Up to `amount`, oldest first."""
        taken, rest = [], []
        for lot in self.lots:
            part = min(lot.amount, amount)
            amount -= part
            if part:
                taken.append(lot._replace(amount=part))
            if lot.amount > part:
                rest.append(lot._replace(amount=lot.amount - part, start=lot.start + part))
        self.lots = rest
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
