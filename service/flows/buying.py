"""Booking what was bought over the counter: of a part, of one of its listings, or of a set."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from service.builds.amounts import base_amount
from service.errors import InputError
from service.flows.edit import need_part, need_supplier, sold_as_of
from service.flows.order_list import booked_day
from service.flows.ordering import Terms, Wanted, debited_over, drafts_of, exact
from service.flows.ports import Deps, Unit
from service.model.catalogue import Part
from service.model.money import Money
from service.model.orders import Purchase


@dataclass(frozen=True, slots=True)
class Bought:
    """What there is to know of a purchase beside what, how many and the price on the page.

    `debited`: what really left the account for all of it; `sold_as`: what one unit held,
    where no listing of the supplier says it.
    """

    supplier: str | None = None
    on: str | None = None
    order: str | None = None
    debited: Money | None = None
    condition: str = "new"
    sold_as: str | None = None


def buy(
    deps: Deps, what: str, count: Decimal, total: Money, more: Bought | None = None
) -> list[Purchase]:
    """Book `count` units of sale of a part or listing, `total` for all; a set is shared out.

    Without a supplier a part counts in its own units. InputError, also where the supplier
    sells the part in several ways; NotFoundError.
    """
    more = more or Bought()
    paid = [total, *([more.debited] if more.debited else [])]
    if count <= 0:
        raise InputError("--count must be more than 0")
    if any(money.amount < 0 for money in paid):
        raise InputError("a purchase cannot cost less than 0")
    with deps.store.write() as unit:
        if more.supplier:
            need_supplier(unit, more.supplier)
        found = _purchases(unit, deps, Wanted(what, count, total), more)
        condition = " ".join(more.condition.split())[:100] or "new"
        kept = [replace(p, order=more.order, condition=condition) for p in found]
        return [replace(p, id=unit.purchases.add(p)) for p in kept]


def _purchases(unit: Unit, deps: Deps, wanted: Wanted, more: Bought) -> list[Purchase]:
    day, parts = booked_day(deps, more.on), unit.catalogue.parts()
    part = parts.get(wanted.what)
    if part is None or (more.supplier and more.sold_as is None and _sold_by(unit, part, more)):
        found = drafts_of(unit, deps, wanted, Terms(more.supplier), day)
    else:
        known = need_part(unit, wanted.what)
        content = exact(base_amount(sold_as_of(known, more.sold_as), known))
        bought = Purchase(
            known.key, wanted.count, wanted.total or _free(), content, more.supplier, day
        )
        found = [(bought, None)]
    return [purchase for purchase, _ in debited_over(found, more.debited)]


def _free() -> Money:
    raise InputError("say what it cost: a price or a total")


def _sold_by(unit: Unit, part: Part, more: Bought) -> bool:
    """Whether the supplier lists it; InputError where one purchase may hold this or that."""
    mine = [x for x in unit.catalogue.listings_of(part.key) if x.supplier == more.supplier]
    single = [x for x in mine if not x.is_set]
    if len({base_amount(s.amount, part) for x in single if (s := x.holds(part.key))}) > 1:
        keys = ", ".join(x.key for x in single)
        raise InputError(
            f"{part.key} is sold in several ways there: say what one holds (--sold-as), "
            f"or name one of {keys}"
        )
    return bool(single)
