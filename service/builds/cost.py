"""The cost of a build, line by line, so that the total is the sum of what is shown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from service.builds import texts
from service.builds.amounts import mass_of
from service.builds.cautions import cautions_for
from service.builds.cents import to_cents
from service.builds.companions import Used, builtin_rules, companions, read_rules
from service.builds.delivered import deliver
from service.builds.figures import (
    BuildCost,
    LineCost,
    Sums,
    group_sums,
    mass_warning,
    sums,
)
from service.builds.fit import fit, wired
from service.builds.labour import labour_line, labour_note
from service.builds.lines import line_cost, supplies_in, with_rest, with_supplies
from service.builds.mixes import whole_build
from service.builds.offers import Market, market_of
from service.builds.paid import Lots, open_lots
from service.builds.row import Row
from service.builds.rows import choose_all
from service.builds.tax import crosses_customs
from service.builds.units import distribute
from service.builds.view import PriceView, Supplies
from service.builds.ways import make_rows, ways_of
from service.model.builds import Build
from service.model.catalogue import Part

__all__ = ["BuildCost", "LineCost", "Sums", "price_build", "price_builds", "price_in", "sums"]


def price_build(build: Build, view: PriceView) -> BuildCost:
    """Reprice one build. A version is first derived from its base (`view.builds`)."""
    return price_in(build, market_of(view, build.currency))


def price_builds(builds: Iterable[Build], view: PriceView) -> list[BuildCost]:
    """Reprice several builds; the view keeps the quotes that they share."""
    return [price_build(build, view) for build in builds]


def price_in(build: Build, market: Market) -> BuildCost:
    """Reprice a build of the market's currency; one market serves many builds."""
    whole = whole_build(build, market.view)
    view = replace_destination(market, whole)
    rows = make_rows(whole, view)
    choose_all(rows, view, whole.currency)
    distribute(rows, view, whole.currency)
    lots = open_lots(view.view, whole.currency, whole.key)
    lines = [line_cost(row, whole.currency, lots) for row in rows]
    lines = with_rest(lines, whole.currency, lots)
    lines = with_supplies(lines, _supplies(view), whole.currency)
    work = labour_line(whole, view.view.rates)
    cost = _summed(whole, view, rows, [*lines, work] if work else lines, lots)
    cost = deliver(cost, rows, view)
    return replace(cost, warnings=(*cost.warnings, *labour_note(whole, work)))


def line_sums(whole: Build, market: Market, supplies: Supplies | None = None) -> Sums:
    """Only what the lines of a build that is whole add up to, on the market's own footing.

    `supplies`: where there are any, workshop supplies have no share of their own.
    """
    rows = make_rows(whole, market)
    choose_all(rows, market, whole.currency)
    distribute(rows, market, whole.currency)
    lines = [line_cost(row, whole.currency, Lots()) for row in rows]
    apart = [x for x in lines if x.counts.kind == "stock"] if supplies is not None else []
    found, own = sums(lines), sum((x.share or Decimal(0) for x in apart), Decimal(0))
    return replace(found, share=found.share - own)


def replace_destination(market: Market, build: Build) -> Market:
    """The same market, or one on the footing of the build's own destination."""
    if build.destination is None or build.destination == market.view.destination:
        return market
    key = f"to {build.destination}"
    memo = market.view.memo
    if key not in memo:
        memo[key] = replace(market.view, destination=build.destination)
    return market_of(memo[key], market.currency)


def _summed(
    build: Build, market: Market, rows: Sequence[Row], lines: Sequence[LineCost], lots: Lots
) -> BuildCost:
    totals = sums(lines)
    bought = {row.part.key for row in rows if row.part and row.line.counts.kind != "tool"}
    if lots.taken or any(lots.by_part.get(key) for key in bought):
        totals = replace(totals, spent=to_cents(lots.spent(bought), build.currency))
    return BuildCost(
        build=build.key,
        name=build.name,
        currency=build.currency,
        at=market.view.at,
        destination=market.view.destination,
        lines=tuple(lines),
        groups=group_sums(lines),
        totals=totals,
        companions=lacks(build, market, rows),
        fit=fit(_wired(rows, market), believed=market.view.claimed_c),
        cautions=_cautions(market, rows),
        missing=tuple(dict.fromkeys(line.name for line in lines if line.status == "missing")),
        warnings=(
            *market.warnings(part.key for part in _parts(rows)),
            *(note for part in _parts(rows) for note in market.view.notes.get(part.key, ())),
            *mass_warning([line for line in lines if line.group != texts.LABOUR or line.part]),
            *_no_flat(market, lines),
        ),
    )


def _supplies(market: Market) -> Supplies | None:
    return supplies_in(market.view.supplies, market.view.rates, market.currency)


def _no_flat(market: Market, lines: Sequence[LineCost]) -> list[str]:
    given = market.view.supplies
    if given is None or _supplies(market) or all(x.counts.kind != "stock" for x in lines):
        return []
    return [texts.NO_FLAT.format(source=given.currency, target=market.currency)]


def _parts(rows: Sequence[Row]) -> list[Part]:
    found = {row.part.key: row.part for row in rows if row.part}
    return list(found.values())


def _wired(rows: Sequence[Row], market: Market) -> list[Part]:
    """The parts, several batteries in the place of one as that one."""
    found = {row.part.key: row.part for row in rows if row.part}
    for row in rows:
        if row.part is not None and row.line.choose:
            ways = [way for way in ways_of(row.line, market) if way.part in market.view.parts]
            others = [(market.view.parts[way.part], Fraction(way.amount.value)) for way in ways]
            found[row.part.key] = wired(row.part, row.need, others)
    return list(found.values())


def lacks(build: Build, market: Market, rows: Sequence[Row]) -> tuple[dict[str, str], ...]:
    """The companion hints that the user has not put aside for this build."""
    view = market.view
    used = [Used(row.part, mass_of(row.need, row.part)) for row in rows if row.part]
    boxes = [
        supply.part
        for row in rows
        if row.choice is not None
        for supply in row.choice.quote.listing.includes
    ]
    rules = read_rules(view.companion_rules, builtin_rules()) if view.companion_rules else None
    mine = {x.removeprefix(f"{build.key}/") for x in view.dismissed if x.startswith(build.key)}
    boxed = [view.parts[key] for key in boxes if key in view.parts]
    return companions(used, boxed, dismissed=mine, rules=rules)


def _cautions(market: Market, rows: Sequence[Row]) -> tuple[str, ...]:
    end = market.view.destination
    imported = any(
        crosses_customs(market.country_of(row.choice.quote.listing), end)
        for row in rows
        if row.choice is not None
    )
    return tuple(caution.text for caution in cautions_for(_parts(rows), imported=imported))
