"""A build takes all that it needs and that is on hand, in one step."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from scrapers import UnitError, parse_amount, to_base
from service.builds.amounts import shown_in
from service.builds.cents import number_text, to_cents, to_decimal
from service.builds.taking import SCRAP, Taken, taking
from service.builds.workshop import Books
from service.errors import InputError, NotFoundError
from service.flows.books import books_at, day_of
from service.flows.load import price_view
from service.flows.names import need_build
from service.flows.order_list import booked_day
from service.flows.ports import Deps, Unit
from service.flows.stock import cut_text
from service.model.money import money_text
from service.model.orders import Movement, Offcut


def take_all(
    deps: Deps,
    build: str,
    *,
    part: str | None = None,
    on: str | None = None,
    scrap: str | None = None,
    preview: bool = False,
) -> dict[str, Any]:
    """All that the lines of the build (or those of one part) still need and that is on hand.

    What cut lists leave over becomes the part's offcuts; pieces below `scrap` ("30 mm") and
    the saw's cuts count as used up. What a finished build takes is a repair. `preview`:
    nothing is kept. InputError, NotFoundError.
    """
    least = SCRAP if scrap is None else _length(scrap)
    unit_of_work = deps.store.read() if preview else deps.store.write()
    with unit_of_work as unit:
        view = price_view(unit, deps, deps.clock())
        need_build(unit, build)
        if part is not None and part not in view.parts:
            raise NotFoundError(f'no part "{part}"')
        found = taking(view.builds[build], view, only=part, scrap=least)
        today = day_of(deps.clock(), deps)
        before = after = books_at(unit, deps, today)
        if not preview:
            repair = view.builds[build].state == "finished"
            _book(unit, deps, build, found, on, repair=repair)
            after = books_at(unit, deps, today)
    return _answer(build, found, before, after, preview=preview)


def _book(
    unit: Unit, deps: Deps, build: str, found: list[Taken], on: str | None, *, repair: bool
) -> None:
    day = booked_day(deps, on)
    for one in found:
        if one.amount > 0:
            amount = to_decimal(one.amount, 15)
            unit.workshop.add(Movement(one.part.key, "used", amount, day, build, repair=repair))
        if one.offcuts is not None:
            kept = [Offcut(one.part.key, cut) for cut in one.offcuts]
            unit.workshop.set_offcuts(one.part.key, kept)


def _answer(
    build: str, found: list[Taken], before: Books, after: Books, *, preview: bool
) -> dict[str, Any]:
    known = set(before.statement.warnings)
    worth = _cost(after, build) - _cost(before, build)
    return {
        "build": build,
        "preview": preview,
        "lines": [_row(one) for one in found],
        "worth": money_text(to_cents(worth, after.currency), after.currency),
        "currency": after.currency,
        "warnings": [text for text in after.statement.warnings if text not in known],
    }


def _cost(books: Books, build: str) -> Fraction:
    """What the build and its repairs have taken."""
    state = books.statement
    return state.cost_of(build) + state.cost_of(build, repair=True)


def _row(one: Taken) -> dict[str, Any]:
    unit, size = shown_in(one.part, one.amount)
    return {
        "part": one.part.key,
        "name": one.part.name,
        "amount": number_text(one.amount / size, 12),
        "unit": unit,
        "offcuts": None if one.offcuts is None else [cut_text(cut) for cut in one.offcuts],
        "layout": list(one.layout),
        "note": one.note or None,
    }


def _length(text: str) -> Decimal:
    try:
        amount = parse_amount(text)
        return to_base(amount) * 1000 if amount.unit in {"mm", "cm", "m", "in"} else _wrong(text)
    except UnitError:
        return _wrong(text)


def _wrong(text: str) -> Decimal:
    raise InputError(f'"{text}" is no length: write it like "30 mm"')
