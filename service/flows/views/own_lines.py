"""Which line of the user's own list a shown line comes from, and what of it can be changed."""

from __future__ import annotations

from typing import Any

from scrapers import format_amount
from service.builds.cost import BuildCost
from service.model.builds import Build, Line


def own_lines(build: Build, cost: BuildCost) -> list[dict[str, Any]]:
    """For every shown line `place` (counted from 0) and `own_amount`, each None where none.

    A line that is bought as the components of a mixture is changed at the first of them, by
    its own amount. Alternatives have amounts of their own, cut lists their pieces.
    """
    seen: set[int] = set()
    found = []
    for shown in cost.lines:
        place = shown.place
        first = place is not None and place not in seen and place < len(build.lines)
        line = build.lines[place] if place is not None and first else None
        if place is not None:
            seen.add(place)
        found.append(
            {"place": place if first else None, "own_amount": _amount(line) if line else None}
        )
    return found


def _amount(line: Line) -> str | None:
    return None if line.choose or line.cuts else format_amount(line.amount)
