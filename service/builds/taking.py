"""What a build takes from hand in one step: amounts by part, and offcuts by the cutting plan."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from service.builds import texts
from service.builds.bodies import (
    Bodies,
    bodies_needed,
    is_cut,
    own_bodies,
    without_smallest,
)
from service.builds.cost import replace_destination
from service.builds.mixes import whole_build
from service.builds.offcuts import cut_amount
from service.builds.offers import Market, market_of
from service.builds.row import Row
from service.builds.rows import choose_all
from service.builds.units import distribute
from service.builds.view import PriceView
from service.builds.ways import make_rows
from service.model.builds import Build, Cut
from service.model.catalogue import Part

SCRAP: Final = Decimal(30)  # mm: shorter or narrower than this is no offcut (common practice)
KEPT_APART: Final = {"owned": texts.IS_OWNED, "tool": texts.IS_TOOL, "shared": texts.IS_SHARED}


@dataclass(frozen=True, slots=True)
class Taken:
    """`amount` base units of a part go into the build. `offcuts`: all there are afterwards.

    Where pieces are cut, the amount is what leaves the shelf: pieces, saw cuts and scrap.
    `layout`: how bars are cut. `note`: what is not taken, and why.
    """

    part: Part
    amount: Fraction
    offcuts: tuple[Cut, ...] | None = None
    layout: tuple[str, ...] = ()
    note: str = ""


def taking(
    build: Build, view: PriceView, *, only: str | None = None, scrap: Decimal = SCRAP
) -> list[Taken]:
    """All that the lines still need and that is on hand, by part.

    InputError: the build derives from one that does not exist.
    """
    whole = whole_build(build, view)
    market = replace_destination(market_of(view, build.currency), whole)
    rows = make_rows(whole, market)
    choose_all(rows, market, build.currency)
    distribute(rows, market, build.currency)
    by_part: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row.part is not None and only in {None, row.part.key}:
            by_part[row.part.key].append(row)
    return [taken for mine in by_part.values() for taken in _of_part(mine, market, scrap)]


def _of_part(rows: Sequence[Row], market: Market, scrap: Decimal) -> Iterator[Taken]:
    part, notes = rows[0].part, {_stays(row) for row in rows}
    mine = [row for row in rows if not _stays(row)]
    if part is None:
        return
    cut = [row for row in mine if is_cut(row) and row.on_hand]
    plain = [row for row in mine if row not in cut]
    plan = _cutting(cut, rows, market)
    amount = sum((_amount(row, market) for row in plain), Fraction(0))
    if any(row.need > row.taken + row.on_hand + row.included for row in mine):
        notes.add(texts.NOT_ALL_HERE)
    if plan is not None:
        gone, offcuts = _after(plan, market, part, scrap)
        left = _still_there(offcuts, amount + gone, market, part)
        yield Taken(part, amount + gone, left, plan.layout, _said(notes))
        return
    if cut:
        notes.add(texts.NOT_CUT)
    if amount or any(notes):
        stock = market.stock(part.key)
        left = _still_there(stock.offcuts if stock else (), amount, market, part)
        known = stock is not None and left != stock.offcuts
        yield Taken(part, amount, left if known else None, note=_said(notes))


def _said(notes: set[str]) -> str:
    return "; ".join(sorted(filter(None, notes)))


def _stays(row: Row) -> str:
    """Why the line takes nothing from the shelf; empty: it does."""
    return KEPT_APART.get(row.line.counts.kind, "")


def _amount(row: Row, market: Market) -> Fraction:
    """What the line takes; of goods that cannot be kept whole units, as far as there are."""
    if row.line.counts.kind != "whole" or row.part is None or not row.on_hand:
        return row.on_hand
    lots = (market.view.holdings or {}).get("", ())
    content = next(
        (Fraction(x.purchase.content) for x in lots if x.purchase.part == row.part.key), None
    )
    stock = market.stock(row.part.key)
    if content is None or stock is None:
        return row.on_hand
    return min(-(-row.on_hand // content) * content, Fraction(stock.free))


def _cutting(cut: Sequence[Row], rows: Sequence[Row], market: Market) -> Bodies | None:
    """The plan, where all pieces come from what is on hand."""
    quote = cut[0].choice.quote if cut and cut[0].choice else None
    if quote is None:
        return None
    plan = bodies_needed(cut, quote, own_bodies(rows, quote, market, coming=False), still=True)
    return plan if plan.used and not plan.units else None


def _after(
    plan: Bodies, market: Market, part: Part, scrap: Decimal
) -> tuple[Fraction, tuple[Cut, ...]]:
    """What leaves the shelf for good, and the offcuts that lie there afterwards."""
    kept = [cut for cut in plan.left if _edge(cut) >= scrap]
    stock = market.stock(part.key)
    there = _counted(stock.offcuts if stock else ())
    for (length, size), count in _counted(plan.used).items():  # whole ones are no offcuts
        there[length, size] = max(0, there.get((length, size), 0) - count)
    for (length, size), count in _counted(kept).items():
        there[length, size] = there.get((length, size), 0) + count
    left = tuple(Cut(count, length, size) for (length, size), count in there.items() if count)
    used = sum((cut_amount(cut) for cut in plan.used), Fraction(0))
    return used - sum((cut_amount(cut) for cut in kept), Fraction(0)), left


def _still_there(
    offcuts: Sequence[Cut], taken: Fraction, market: Market, part: Part
) -> tuple[Cut, ...]:
    """Never more bodies than there is on hand: plain lines use up the small ones first."""
    stock = market.stock(part.key)
    free = Fraction(stock.free) if stock else Fraction(0)
    over = sum((cut_amount(cut) for cut in offcuts), Fraction(0)) - (free - taken)
    return tuple(without_smallest(offcuts, over)) if over > 0 else tuple(offcuts)


Shape = tuple[Decimal | None, tuple[Decimal, Decimal] | None]


def _counted(cuts: Sequence[Cut]) -> dict[Shape, int]:
    found: dict[Shape, int] = {}
    for cut in cuts:
        found[cut.length, cut.size] = found.get((cut.length, cut.size), 0) + cut.count
    return found


def _edge(cut: Cut) -> Decimal:
    return min(cut.size) if cut.size else cut.length or Decimal(0)
