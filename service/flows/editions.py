"""What a build was made of at which times, so that its index can be linked where it was edited."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from scrapers import Amount
from service.builds.amounts import base_amount
from service.builds.breaks import units_for
from service.builds.cents import to_decimal
from service.builds.cost import BuildCost, price_build
from service.builds.figures import LineCost
from service.builds.versions import resolve
from service.builds.view import PriceView
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.model.builds import Build, Line
from service.model.catalogue import Part
from service.model.times import time_text

NAME = "basket/"  # settings: the build's key behind it, a JSON list of editions
DIGITS = 12
AT_MOST = 200  # editions of a build; the oldest give way
Basket = tuple[tuple[str, str, str], ...]  # part, amount, unit; in the order of the build


@dataclass(frozen=True, slots=True)
class Made:
    """A basket and since when the build has been that."""

    since: datetime
    basket: Basket


def basket_of(build: Build, cost: BuildCost, view: PriceView) -> Basket:
    """The parts that a build's cost is of, as far as each counts in it, the same part once.

    Waste is in it, a part shared by several models counts for this one alone, a whole purchase
    as what it holds, and neither a tool nor what is owned.
    """
    lines = resolve(build, view.builds).lines
    amounts: dict[tuple[str, str], Decimal] = {}
    for line in cost.lines:
        waste = Decimal(0) if line.place is None else lines[line.place].waste
        if line.part and (counted := _counted(line, waste, view.parts[line.part])):
            key = (line.part, line.amount.unit)
            amounts[key] = amounts.get(key, Decimal(0)) + counted
    return tuple((part, f"{amount:f}", unit) for (part, unit), amount in amounts.items())


def _counted(line: LineCost, waste: Decimal, part: Part) -> Decimal:
    """How much of its part a line's share is of, in the unit of its amount."""
    used = line.amount.value * (1 + waste)
    match line.counts.kind:
        case "tool" | "owned":
            return Decimal(0)
        case "shared":
            return used / line.counts.among
        case "whole" if line.listing and line.sold_as and used:
            need = base_amount(replace(line.amount, value=used), part)
            content = base_amount(line.sold_as, part)
            opened = units_for(line.listing, part, content, need) * content
            return used * to_decimal(opened / need, DIGITS)
    return used


def as_build(build: Build, basket: Basket) -> Build:
    """A build of nothing but this basket, to be priced."""
    lines = tuple(Line(Amount(Decimal(value), unit), part=part) for part, value, unit in basket)
    return replace(build, lines=lines, base=None, replace=(), hours=None)


def editions(unit: Unit, build: Build, view: PriceView) -> list[Made]:
    """All known editions, oldest first; the last is the build as it is now."""
    known = _read(unit.settings(NAME + build.key).get(NAME + build.key))
    now = basket_of(build, price_build(build, view), view)
    if not known or known[-1].basket != now:
        known.append(Made(view.at, now))
    return known


def note_editions(unit: Unit, deps: Deps) -> int:
    """Write down which builds were edited since the last time; answers how many."""
    view = price_view(unit, deps, deps.clock())
    view = replace(view, on_hand={}, purchases=())
    noted = 0
    for build in view.builds.values():
        name = NAME + build.key
        before = _read(unit.settings(name).get(name))
        after = editions(unit, build, view)
        if len(after) > len(before):
            unit.set_setting(name, _written(after[-AT_MOST:]))
            noted += 1
    return noted


def _read(text: str | None) -> list[Made]:
    if text is None:
        return []
    return [
        Made(datetime.fromisoformat(row["since"]), tuple(tuple(x) for x in row["basket"]))
        for row in json.loads(text)
    ]


def _written(made: Sequence[Made]) -> str:
    rows = [{"since": time_text(one.since), "basket": one.basket} for one in made]
    return json.dumps(rows, ensure_ascii=False)
