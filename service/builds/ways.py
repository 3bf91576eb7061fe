"""Which parts could fill each line of a build, and which of them do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from scrapers import UnitError, format_amount
from service.builds import texts
from service.builds.amounts import line_need
from service.builds.mixes import mix_note, split_line
from service.builds.offers import Market
from service.builds.own import Own, Portion
from service.builds.requirements import need_text, parts_meeting
from service.builds.row import Row
from service.builds.rows import asked_alone, pick
from service.model.builds import Alternative, Build, Line

Way = tuple[Row, ...]  # one row, or one for each component of a mixture


def make_rows(build: Build, market: Market) -> list[Row]:
    """The rows of all lines, with parts, needs and what they take from stock.

    A line has one row, or one for each component where a mixture fills it.
    """
    own = Own(build.key, market)
    rows: list[Row] = []
    for line, place in zip(build.lines, _places(build.lines, market), strict=True):
        for row in _fill(line, market, build.currency, own):
            row.place = place
            if row.part is not None and not row.owned:
                portion = own.portion(row.part, row.line, row.need)
                own.use(row.part, portion)
                row.taken, row.on_hand, row.coming = portion.taken, portion.on_hand, portion.coming
            rows.append(row)
    return rows


def _places(lines: Sequence[Line], market: Market) -> Iterator[int]:
    """Of each line in the build's own list, where a mixture is one line."""
    place = -1
    for line in lines:
        mixed = market.view.parts.get(line.mixed or "")
        if mixed is None or line.part == mixed.mix_of[0]:
            place += 1
        yield place


def ways_of(line: Line, market: Market) -> list[Alternative]:
    """Every part that could fill the line, each with its own amount."""
    named = [Alternative(line.part, line.amount)] if line.part else []
    met = parts_meeting(market.view.parts.values(), line.need) if line.need else []
    return [*named, *(Alternative(p.key, line.amount) for p in met), *line.choose]


def _fill(line: Line, market: Market, currency: str, own: Own) -> Way:
    """The part that fills the line: one that is there already, else the cheapest."""
    ways = ways_of(line, market)
    tried = [_try(line, way, market) for way in ways]
    if not tried:
        text = texts.NOTHING_MEETS.format(need=need_text(line.need))
        return (Row(line, line.amount, problem=text),)
    best = tried[0]
    if len(tried) > 1:
        there = [rows for rows in tried if _is_there(rows, own)]
        costs = ((_cost(rows, market, currency), rows) for rows in there or tried)
        priced = [(cost, rows) for cost, rows in costs if cost]
        best = min(priced, key=lambda pair: pair[0])[1] if priced else (there or tried)[0]
    _explain(best, ways, market)
    return best


def _try(line: Line, way: Alternative, market: Market) -> Way:
    single = replace(line, part=way.part, amount=way.amount)
    found = split_line(single, market.view.parts, market.sold)
    if len(found) == 1:
        return (_row(line, way, market),)
    return tuple(_row(one, Alternative(one.part or "", one.amount), market) for one in found)


def _row(line: Line, way: Alternative, market: Market) -> Row:
    row = Row(line, way.amount, market.view.parts.get(way.part))
    if row.part is None:
        row.problem = texts.NOT_A_PART.format(part=way.part)
        return row
    try:
        row.need = line_need(line, way.amount, row.part)
    except UnitError as error:
        row.problem = str(error)
    return row


def _is_there(rows: Way, own: Own) -> bool:
    """Whether the user has all of it, or it is coming: then nothing need be bought."""
    return all(row.need and _portion(row, own).whole >= row.need for row in rows)


def _portion(row: Row, own: Own) -> Portion:
    return Portion() if row.part is None else own.portion(row.part, row.line, row.need)


def _cost(rows: Way, market: Market, currency: str) -> tuple[int, Fraction] | None:
    """How well and how cheaply the rows alone can be filled; None where they cannot."""
    found = [_single_cost(row, market, currency) for row in rows]
    known = [cost for cost in found if cost]
    if len(known) < len(rows):
        return None
    return max(rank for rank, _ in known), sum((cost for _, cost in known), Fraction(0))


def _single_cost(row: Row, market: Market, currency: str) -> tuple[int, Fraction] | None:
    asked = asked_alone(row, currency)
    found = pick(row, asked, market)
    if found is None:
        return None
    rank = 0 if found.quote.status == "priced" else 1
    return rank, asked.in_model(found.quote)


def _explain(rows: Way, ways: Sequence[Alternative], market: Market) -> None:
    """What the part was taken from: a requirement, alternatives, or a mixture."""
    for place, row in enumerate(rows):
        if row.part is None:
            continue
        said = [mix_note(row.line, row.part, row.need, market.view.parts)]
        if place == 0:
            said += _why_this(row.line, ways)
        row.notes += filter(None, said)


def _why_this(line: Line, ways: Sequence[Alternative]) -> Iterable[str]:
    if line.need:
        yield texts.MEETS.format(need=need_text(line.need))
    if line.need and len(ways) > 1:
        yield texts.OTHERS_MEET.format(count=len(ways))
    if line.choose:
        named = (f"{format_amount(way.amount)} {way.part}" for way in ways)
        yield texts.INSTEAD.format(parts=", ".join(named))
