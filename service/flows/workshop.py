"""The workshop: parts used, moved, sold, written off, found good; bodies that are left over."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from scrapers import UnitError, parse_amount
from service.builds.amounts import base_amount, base_unit, shown_in
from service.builds.cents import number_text, to_cents, to_decimal
from service.builds.offcuts import cut_amount
from service.builds.workshop import Books
from service.errors import InputError
from service.flows.books import books_at, day_of
from service.flows.build_edit import read_amount
from service.flows.edit import need_part
from service.flows.names import need_build
from service.flows.order_list import booked_day
from service.flows.ports import Deps, Unit
from service.flows.stock import cut_text
from service.model.builds import Cut
from service.model.catalogue import Part
from service.model.money import Money, money_text
from service.model.orders import Movement, Offcut


def use(
    deps: Deps,
    part: str,
    amount: str,
    build: str,
    *,
    repair: bool = False,
    back: bool = False,
    on: str | None = None,
    note: str = "",
) -> dict[str, Any]:
    """A build takes an amount from hand, first in first out; `back`: it puts some back.

    What a finished build takes is a repair or upgrade and stands beside its cost.
    """
    with deps.store.write() as unit:
        goods, owner = need_part(unit, part), need_build(unit, build)
        repair = repair or owner.state == "finished"
        taken = _base(amount, goods)
        entry = Movement(
            goods.key,
            "used",
            -taken if back else taken,
            booked_day(deps, on),
            build,
            repair=repair,
            note=note,
        )
        return _book(unit, deps, goods, entry)


def move(
    deps: Deps, part: str, amount: str, source: str, to: str, *, on: str | None = None
) -> dict[str, Any]:
    """From one build into another, at what it cost."""
    with deps.store.write() as unit:
        goods = need_part(unit, part)
        need_build(unit, source)
        need_build(unit, to)
        if source == to:
            raise InputError("name two builds: the part is there already")
        taken = _base(amount, goods)
        entry = Movement(goods.key, "moved", taken, booked_day(deps, on), source, to)
        return _book(unit, deps, goods, entry)


def sell(
    deps: Deps,
    part: str,
    amount: str,
    money: Money,
    *,
    build: str | None = None,
    postage: Money | None = None,
    on: str | None = None,
) -> dict[str, Any]:
    """Sold for `money`, from hand or out of a build."""
    if money.amount < 0 or (postage is not None and postage.amount < 0):
        raise InputError("proceeds and postage cannot be less than 0")
    with deps.store.write() as unit:
        goods = need_part(unit, part)
        if build is not None:
            need_build(unit, build)
        taken = _base(amount, goods)
        day = booked_day(deps, on)
        entry = Movement(goods.key, "sold", taken, day, build, money=money, postage=postage)
        return _book(unit, deps, goods, entry)


def write_off(
    deps: Deps,
    part: str,
    amount: str,
    *,
    build: str | None = None,
    on: str | None = None,
    note: str = "",
) -> dict[str, Any]:
    """Broken, lost, gone off: from hand or out of a build."""
    with deps.store.write() as unit:
        goods = need_part(unit, part)
        if build is not None:
            need_build(unit, build)
        taken = _base(amount, goods)
        entry = Movement(goods.key, "written off", taken, booked_day(deps, on), build, note=note)
        return _book(unit, deps, goods, entry)


def still_good(deps: Deps, part: str, *, on: str | None = None) -> dict[str, Any]:
    """What there is of an aged part was found good: its shelf life counts anew."""
    with deps.store.write() as unit:
        goods = need_part(unit, part)
        if goods.shelf_life is None:
            raise InputError(f"{part} has no shelf_life in the catalogue: it does not grow old")
        entry = Movement(goods.key, "good", Decimal(0), booked_day(deps, on))
        return _book(unit, deps, goods, entry)


def set_offcut(deps: Deps, part: str, size: str, count: int) -> dict[str, Any]:
    """From now on `count` bodies of this size (`"300 x 400 mm"`, `"450 mm"`) are left; 0: none."""
    if count < 0:
        raise InputError("a count cannot be less than 0")
    with deps.store.write() as unit:
        goods = need_part(unit, part)
        cut = _cut(size, count)
        kept = [
            one
            for one in unit.workshop.offcuts()
            if one.part == goods.key and _edges(one.cut) != _edges(cut)
        ]
        if count:
            kept.append(Offcut(goods.key, cut))
        unit.workshop.set_offcuts(goods.key, kept)
        return {
            "part": goods.key,
            "offcuts": [cut_text(one.cut) for one in kept],
            "warnings": _beyond_the_books(unit, deps, goods, kept),
        }


def _beyond_the_books(unit: Unit, deps: Deps, part: Part, kept: Sequence[Offcut]) -> list[str]:
    """Offcuts of what was never booked count for nothing: say how to book it."""
    whole = sum((cut_amount(one.cut) for one in kept), Fraction(0))
    books = books_at(unit, deps, day_of(deps.clock(), deps))
    have = books.statement.hand[part.key].amount
    if whole <= have:
        return []
    name, lack = base_unit(part), number_text(whole - have, 6)
    held, cut = number_text(have, 6), number_text(whole, 6)
    do = f'ebbmark buy {part.key} --count {lack} --total "0 {deps.currency}"'
    return [f"the books hold {held} {name} of {part.key}, its offcuts are {cut}: book them by {do}"]


def _cut(size: str, count: int) -> Cut:
    hint = f'"{size}" is no size: write it like "300 x 400 mm" or "450 mm"'
    try:
        amount = parse_amount(size)
        if amount.size is not None and amount.pieces == 1:
            return Cut(count, size=amount.size)
        length = base_amount(amount, Part("", "", "m")) * 1000
    except UnitError:
        raise InputError(hint) from None
    if length <= 0:
        raise InputError(hint)
    return Cut(count, length=to_decimal(length, 12))


def _edges(cut: Cut) -> list[Decimal]:
    """In whatever order they are said."""
    return sorted(cut.size or (cut.length or Decimal(0),))


def _base(amount: str, part: Part) -> Decimal:
    """Base units; a bare number is of the part's own unit."""
    try:
        found = base_amount(read_amount(amount, part), part)
    except UnitError as error:
        raise InputError(str(error)) from None
    return to_decimal(found, 15)


def _book(unit: Unit, deps: Deps, part: Part, entry: Movement) -> dict[str, Any]:
    """Keep it, and say what it did: what it was worth, what is left, what does not add up."""
    today = day_of(deps.clock(), deps)
    before = books_at(unit, deps, today)
    unit.workshop.add(entry)
    after = books_at(unit, deps, today)
    moved, left = abs(Fraction(entry.amount)), after.statement.hand[part.key].amount
    unit_name, size = shown_in(part, moved, left)
    known = list(before.statement.warnings)
    return {
        "part": part.key,
        "what": entry.kind,
        "amount": number_text(moved / size, 12),
        "unit": unit_name,
        "build": entry.build,
        "to": entry.to,
        "repair": entry.repair,
        "on": entry.on.isoformat(),
        "worth": _worth(before, after, entry),
        "currency": after.currency,
        "left": number_text(left / size, 12),
        "warnings": [text for text in after.statement.warnings if text not in known],
    }


def _worth(before: Books, after: Books, entry: Movement) -> str:
    """What left its place, at what it cost."""
    if entry.kind == "good":
        return money_text(Decimal(0), after.currency)

    def there(found: Books) -> Fraction:
        if entry.build is not None:
            return found.statement.cost_of(entry.build, repair=entry.repair)
        return found.statement.hand[entry.part].cost

    moved = abs(there(before) - there(after))
    return money_text(to_cents(moved, after.currency), after.currency)
