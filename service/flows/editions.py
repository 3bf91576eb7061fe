"""What a build was made of at which times, so that its index can be linked where it was edited."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from scrapers import Amount
from service.builds.cost import BuildCost, price_build
from service.builds.figures import LineCost
from service.builds.versions import resolve
from service.builds.view import PriceView
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.model.builds import Build, Counts, Line
from service.model.times import time_text

NAME = "basket/"  # settings: the build's key behind it, a JSON list of editions
AT_MOST = 200  # editions of a build; the oldest give way
# part, amount, unit, and where it matters how it counts and the fixed listing ("" without one);
# in the order of the build
Basket = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Made:
    """A basket and since when the build has been that."""

    since: datetime
    basket: Basket


def basket_of(build: Build, cost: BuildCost, view: PriceView) -> Basket:
    """The parts that a build's cost is of, as far as each counts in it, the same part once.

    Waste is in it, a part shared by several models counts for this one alone, and neither a
    tool nor what is owned.
    """
    lines = resolve(build, view.builds).lines
    amounts: dict[tuple[str, ...], Decimal] = {}
    for line in cost.lines:
        named = None if line.place is None else lines[line.place]
        if line.part and (counted := _counted(line, named.waste if named else Decimal(0))):
            key = (line.part, line.amount.unit, *_how(line, named))
            amounts[key] = amounts.get(key, Decimal(0)) + counted
    return tuple((part, f"{amount:f}", *more) for (part, *more), amount in amounts.items())


def _how(line: LineCost, named: Line | None) -> tuple[str, ...]:
    """What else decides its price: that it counts whole, and the listing that is fixed for it."""
    listing = named.listing or "" if named else ""
    whole = line.counts.kind == "whole"
    return ("whole" if whole else "share", listing) if whole or listing else ()


def _counted(line: LineCost, waste: Decimal) -> Decimal:
    """How much of its part a line's share is of, in the unit of its amount."""
    used = line.amount.value * (1 + waste)
    match line.counts.kind:
        case "tool" | "owned":
            return Decimal(0)
        case "shared":
            return used / line.counts.among
    return used


def as_build(build: Build, basket: Basket) -> Build:
    """A build of nothing but this basket, to be priced."""
    return replace(build, lines=tuple(map(_line, basket)), base=None, replace=(), hours=None)


def goods_of(row: tuple[str, ...]) -> tuple[str, Decimal]:
    """`(name, quantity)` of what a row of a basket is priced as.

    A part by its amount. What counts whole is one thing with its amount in the name, since half
    of it does not cost half; what has a fixed listing is not the part at its cheapest.
    """
    part, value, unit, *more = row
    if not more:
        return part, Decimal(value)
    kind, listing = more
    size = f"{value} {unit}" if kind == "whole" else ""
    return f"{part}\t{listing}\t{size}", Decimal(1) if size else Decimal(value)


def part_of(goods: str) -> str:
    """The part of a name that `goods_of` made."""
    return goods.partition("\t")[0]


def _line(row: tuple[str, ...]) -> Line:
    part, value, unit, *more = row
    kind, listing = more or ("share", "")
    counts = Counts("whole" if kind == "whole" else "share")
    return Line(Amount(Decimal(value), unit), part=part, counts=counts, listing=listing or None)


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
