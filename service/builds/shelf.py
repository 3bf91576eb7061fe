"""What runs low and what has grown old on the shelf."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from fractions import Fraction

from service.builds.amounts import base_amount
from service.builds.ledger import Statement
from service.model.catalogue import Part


def running_low(parts: Iterable[Part], state: Statement) -> dict[str, Fraction]:
    """Parts below their least amount, with what lacks: wishes for the next order plan."""
    found = {}
    for part in parts:
        if part.keep is None:
            continue
        have = state.hand[part.key].amount + state.coming[part.key].amount
        lacking = base_amount(part.keep, part) - have
        if lacking > 0:
            found[part.key] = lacking
    return found


def aged(parts: Iterable[Part], state: Statement, day: date) -> dict[str, Fraction]:
    """Amounts on hand past their shelf life: not counted on without asking."""
    found: dict[str, Fraction] = {}
    for part in parts:
        life: timedelta | None = part.shelf_life
        if life is None:
            continue
        old = [
            lot for lot in state.hand[part.key].lots if lot[2] != date.min and day - lot[2] > life
        ]
        if old:
            found[part.key] = sum((lot[0] for lot in old), Fraction(0))
    return found
