"""Builds side by side: what differs, what it saves, and what cheaper parts would serve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from scrapers import format_amount
from service.builds.cents import number_text
from service.builds.cost import price_in
from service.builds.figures import BuildCost, LineCost, Sums
from service.builds.mixes import whole_build
from service.builds.offers import Market
from service.builds.requirements import parts_meeting, successors
from service.builds.view import PriceView
from service.model.builds import Build, Line
from service.model.catalogue import Part
from service.model.money import money_text


@dataclass(frozen=True, slots=True)
class Change:
    """A part of one build that the other lacks, or has in another amount or price."""

    part: str
    group: str
    before: LineCost | None
    after: LineCost | None

    @property
    def share(self) -> Decimal:
        """What the change adds to the build (below 0: saves)."""
        return _share(self.after) - _share(self.before)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two builds of one currency. `groups`: sums of each, None where a build lacks it."""

    before: BuildCost
    after: BuildCost
    groups: tuple[tuple[str, Sums | None, Sums | None], ...]
    changes: tuple[Change, ...]

    @property
    def share(self) -> Decimal:
        """What the second costs more in this model (below 0: it saves)."""
        return self.after.totals.share - self.before.totals.share

    @property
    def to_spend(self) -> Decimal:
        """What the second asks to spend more."""
        return self.after.totals.to_spend - self.before.totals.to_spend

    @property
    def mass(self) -> Decimal | None:
        """Grams that the second weighs more, where both are known."""
        first, second = self.before.totals.mass, self.after.totals.mass
        return None if first is None or second is None else second - first


def compare(before: BuildCost, after: BuildCost) -> Comparison:
    """Two costs side by side. ValueError: their currencies differ."""
    if before.currency != after.currency:
        raise ValueError("builds compare in one currency: price both in the same")
    first, second = dict(before.groups), dict(after.groups)
    names = dict.fromkeys([*first, *second])
    groups = tuple((name, first.get(name), second.get(name)) for name in names)
    return Comparison(before, after, groups, tuple(_changes(before, after)))


def _changes(before: BuildCost, after: BuildCost) -> list[Change]:
    first, second = _by_part(before), _by_part(after)
    found = []
    for key in dict.fromkeys([*first, *second]):
        mine, theirs = first.get(key, []), second.get(key, [])
        for place in range(max(len(mine), len(theirs))):
            old = mine[place] if place < len(mine) else None
            new = theirs[place] if place < len(theirs) else None
            if _facts(old) != _facts(new):
                found.append(Change(key[0], key[1], old, new))
    return found


def _by_part(cost: BuildCost) -> dict[tuple[str, str], list[LineCost]]:
    found: dict[tuple[str, str], list[LineCost]] = {}
    for line in cost.lines:
        found.setdefault((line.name, line.group), []).append(line)
    return found


def _facts(line: LineCost | None) -> tuple[object, ...]:
    return (line.amount, line.counts, line.share, line.to_spend) if line else ()


def _share(line: LineCost | None) -> Decimal:
    return line.share if line and line.share is not None else Decimal(0)


def comparison_to_json(found: Comparison) -> dict[str, Any]:
    """Totals, groups and changes as exact texts."""
    currency = found.before.currency
    return {
        "currency": currency,
        "before": found.before.build,
        "after": found.after.build,
        "share": money_text(found.share, currency),
        "to_spend": money_text(found.to_spend, currency),
        "mass": None if found.mass is None else number_text(found.mass),
        "complete": found.before.totals.complete and found.after.totals.complete,
        "groups": [
            {"group": name, "before": _sums(first, currency), "after": _sums(second, currency)}
            for name, first, second in found.groups
        ],
        "changes": [_change(entry, currency) for entry in found.changes],
    }


def _sums(found: Sums | None, currency: str) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "share": money_text(found.share, currency),
        "to_spend": money_text(found.to_spend, currency),
        "mass": None if found.mass is None else number_text(found.mass),
    }


def _change(entry: Change, currency: str) -> dict[str, Any]:
    return {
        "part": entry.part,
        "group": entry.group,
        "before": format_amount(entry.before.amount) if entry.before else None,
        "after": format_amount(entry.after.amount) if entry.after else None,
        "share": money_text(entry.share, currency),
    }


@dataclass(frozen=True, slots=True)
class Proposal:
    """Another part for a line: what it saves in the build and at the till. Never done unasked."""

    line: int
    part: str
    instead_of: str
    note: str
    share: Decimal
    to_spend: Decimal


def proposals(build: Build, view: PriceView) -> list[Proposal]:
    """For each line the cheapest part that still meets its need, where that saves.

    What still meets it: the line's requirement, and the part's named equivalents. Only
    usable prices are proposed.
    """
    whole = whole_build(build, view)
    market = Market(view, whole.currency)
    now = price_in(whole, market)
    found = []
    for place, line in enumerate(whole.lines):
        best = _best(whole, place, now, market)
        if line.counts.kind != "owned" and best is not None:
            found.append(best)
    return found


def _best(build: Build, place: int, now: BuildCost, market: Market) -> Proposal | None:
    line, current = build.lines[place], _rows_of(build, now)[place][0]
    own = market.view.parts.get(current.part or "")
    if own is None:
        return None
    found = []
    for other, note in _others(line, own, market.view.parts):
        cost = price_in(_with_part(build, place, other.key), market)
        share = now.totals.share - cost.totals.share
        spend = now.totals.to_spend - cost.totals.to_spend
        rows = _rows_of(build, cost)[place]
        usable = all(row.status == "priced" for row in rows)
        if usable and current.share is not None and share > 0:
            found.append(Proposal(place, other.key, own.key, note, share, spend))
    return max(found, key=lambda p: (p.share, p.to_spend, p.part), default=None)


def _rows_of(build: Build, cost: BuildCost) -> list[list[LineCost]]:
    """The shown lines of each line: one, or one for each component of a chosen mixture."""
    left, found = list(cost.lines), []
    for line in build.lines:
        rows = [left.pop(0)]
        while (line.choose or line.need) and left and left[0].place == rows[0].place:
            rows.append(left.pop(0))
        found.append(rows)
    return found


def _others(line: Line, own: Part, parts: Mapping[str, Part]) -> Sequence[tuple[Part, str]]:
    met = [(part, "") for part in parts_meeting(parts.values(), line.need)] if line.need else []
    named = successors(own, parts)
    return [(part, note) for part, note in (*named, *met) if part.key != own.key]


def _with_part(build: Build, place: int, part: str) -> Build:
    line = replace(build.lines[place], part=part, need={}, choose=(), listing=None)
    return replace(build, lines=(*build.lines[:place], line, *build.lines[place + 1 :]))
