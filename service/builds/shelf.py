"""What runs low and what has grown old on the shelf."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from fractions import Fraction

from service.builds.amounts import base_amount
from service.builds.heap import Lot
from service.builds.ledger import Statement
from service.model.catalogue import Part


def running_low(
    parts: Iterable[Part],
    state: Statement,
    day: date,
    good: Mapping[str, date] | None = None,
) -> dict[str, Fraction]:
    """Parts below their least amount, with what lacks: wishes for the next order plan.

    What is past its shelf life does not count, unless it was found `good` since.
    """
    kept = [part for part in parts if part.keep is not None]
    old, found = aged(kept, state, day, good), {}
    for part in kept:
        if part.keep is None:
            continue
        have = state.hand[part.key].amount + state.coming[part.key].amount
        have -= old.get(part.key, Fraction(0))
        lacking = base_amount(part.keep, part) - have
        if lacking > 0:
            found[part.key] = lacking
    return found


def aged(
    parts: Iterable[Part],
    state: Statement,
    day: date,
    good: Mapping[str, date] | None = None,
) -> dict[str, Fraction]:
    """Amounts on hand past their shelf life: not counted on without asking.

    `good`: the day on which the user last found what there was of a part still good; its
    age counts from then.
    """
    found: dict[str, Fraction] = {}
    for part in parts:
        tested = (good or {}).get(part.key)
        old = [lot for lot in state.hand[part.key].lots if is_aged(lot, part, day, tested)]
        if old:
            found[part.key] = sum((lot.amount for lot in old), Fraction(0))
    return found


def is_aged(lot: Lot, part: Part, day: date, tested: date | None = None) -> bool:
    """Whether a lot is past the part's shelf life; one of an unknown day never is."""
    if part.shelf_life is None or lot.on == date.min:
        return False
    since = tested if tested is not None and lot.on <= tested else lot.on
    return day - since > part.shelf_life
