"""Placing an order: lines of parts, listings and sets, at prices typed or known now."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from service.builds.amounts import base_amount
from service.builds.breaks import cost_of
from service.builds.cents import to_cents
from service.builds.ledger import shown
from service.builds.offers import Market
from service.errors import InputError
from service.flows.edit import need_part, need_supplier, sold_as_of
from service.flows.load import price_view
from service.flows.names import listing_named
from service.flows.order_list import as_json, booked_day, need_order
from service.flows.ports import Deps, Unit
from service.model.catalogue import Listing, Part
from service.model.money import Money, parse_decimal, parse_money
from service.model.orders import Order, OrderBill, OrderLine, Purchase

_WANTED = re.compile(
    r"\s*(?P<count>[0-9.]+)\s*x\s+(?P<what>\S+)\s*(?:(?P<how>[@=])\s*(?P<money>.+))?", re.DOTALL
)
LINE_HINT = 'write "2 x battery-4s @ 38.00 EUR" (each) or "2 x battery-4s = 76.00 EUR" (in all)'


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line to order: a part's key or a listing, how many, and the price in all if known."""

    what: str
    count: Decimal
    total: Money | None = None


@dataclass(frozen=True, slots=True)
class Terms:
    """What holds for the order as a whole. `debited`: what left the account for its lines."""

    supplier: str | None = None
    on: str | None = None
    shipping: Money | None = None
    estimate: Money | None = None
    debited: Money | None = None
    note: str = ""


def read_wanted(text: str) -> Wanted:
    """A line as people type it. InputError says how to write it."""
    found = _WANTED.fullmatch(text)
    if found is None:
        raise InputError(f'"{text}" is no line of an order: {LINE_HINT}')
    count = parse_decimal(found["count"], f'"{found["count"]}" is not a number: {LINE_HINT}')
    if count <= 0:
        raise InputError(f'"{text}": the count must be more than 0')
    if found["money"] is None:
        return Wanted(found["what"], count)
    money = parse_money(found["money"].strip())
    if money.amount < 0:
        raise InputError(f'"{text}": a price cannot be less than 0')
    total = money if found["how"] == "=" else Money(money.amount * count, money.currency)
    return Wanted(found["what"], count, total)


def place(deps: Deps, lines: Sequence[Wanted], terms: Terms, key: str | None = None) -> Any:
    """Order these lines: on their way from now on. Answers the order as JSON."""
    if not lines:
        raise InputError(f"an order needs a line: {LINE_HINT}")
    with deps.store.write() as unit:
        on = booked_day(deps, terms.on)
        name = key or _free_key(unit)
        if unit.orders.get(name) is not None:
            raise InputError(f'there is an order "{name}" already: give this one another number')
        if terms.supplier:
            need_supplier(unit, terms.supplier)
        drafts = [draft for wanted in lines for draft in drafts_of(unit, deps, wanted, terms, on)]
        _save_placed(unit, name, on, debited_over(drafts, terms.debited), terms)
        return as_json(unit, deps, need_order(unit, name))


Draft = tuple[Purchase, str | None]


def _save_placed(unit: Unit, name: str, on: date, drafts: Sequence[Draft], terms: Terms) -> None:
    shops = {purchase.supplier for purchase, _ in drafts}
    if len(shops) > 1:
        names = ", ".join(sorted(str(shop) for shop in shops))
        raise InputError(f"an order goes to one supplier, these lines to {names}: place several")
    bought = [
        replace(p, order=name, id=unit.purchases.add(replace(p, order=name))) for p, _ in drafts
    ]
    kept = tuple(OrderLine(p.id, (), key) for p, (_, key) in zip(bought, drafts, strict=True))
    order = Order(name, on, shops.pop(), kept, terms.estimate, terms.note)
    unit.orders.save(order, bought)
    if terms.shipping is not None and terms.shipping.amount:
        unit.orders.add_bill(OrderBill(name, "postage", terms.shipping, on))


def _free_key(unit: Unit) -> str:
    taken = {order.key for order in unit.orders.all()}
    taken |= {purchase.order for purchase in unit.purchases.all() if purchase.order}
    return next(f"order-{n}" for n in range(1, len(taken) + 2) if f"order-{n}" not in taken)


def drafts_of(
    unit: Unit, deps: Deps, wanted: Wanted, terms: Terms, on: date
) -> list[tuple[Purchase, str | None]]:
    """One purchase a part: a set is shared out."""
    listing, part = _meant(unit, wanted.what, terms.supplier)
    total = wanted.total or _price_now(unit, deps, wanted, listing)
    if listing is None:
        content = exact(base_amount(sold_as_of(part, None), part))
        return [(Purchase(part.key, wanted.count, total, content, terms.supplier, on), None)]
    return [
        (
            Purchase(one.key, wanted.count, money, content, listing.supplier, on),
            listing.key,
        )
        for one, content, money in _shared(unit, deps, listing, total)
    ]


def _meant(unit: Unit, what: str, supplier: str | None) -> tuple[Listing | None, Part]:
    """The listing, and the part that names it or that it sells."""
    if what not in unit.catalogue.parts():
        listing = listing_named(unit, what)
        if listing is None:
            return None, need_part(unit, what)
        return listing, need_part(unit, listing.supplies[0].part)
    part = need_part(unit, what)
    sold = [x for x in unit.catalogue.listings_of(part.key) if not x.is_set]
    mine = [x for x in sold if supplier is None or x.supplier == supplier]
    kinds = {(x.supplier, base_amount(s.amount, part)) for x in mine if (s := x.holds(part.key))}
    if len(kinds) > 1:
        keys = ", ".join(x.key for x in mine)
        raise InputError(f"{what} is sold in several ways: name the supplier or one of {keys}")
    return (mine[0] if mine else None), part


def _price_now(unit: Unit, deps: Deps, wanted: Wanted, listing: Listing | None) -> Money:
    now = unit.log.as_of(deps.clock(), [listing.id]).get(listing.id) if listing else None
    if now is None or listing is None:
        raise InputError(f"{wanted.what}: no price is known, {LINE_HINT}")
    cost = cost_of(Fraction(now.offer.price), listing.breaks, Fraction(wanted.count))
    return Money(to_cents(cost, now.offer.currency), now.offer.currency)


def _shared(
    unit: Unit, deps: Deps, listing: Listing, total: Money
) -> list[tuple[Part, Decimal, Money]]:
    """Parts of what is bought, with what one unit holds and their share of the price."""
    view = price_view(unit, deps, deps.clock(), [listing, *_singles(unit, listing)])
    market = Market(view, total.currency)
    shares: dict[str, Fraction] = {}
    for supply in listing.supplies:
        part = view.parts[supply.part]
        quote = next((q for q in market.quotes(part) if q.listing.key == listing.key), None)
        split = supply.split if quote is None else quote.split
        if split is None and listing.is_set:
            raise InputError(
                f"{listing.key} is a set without split: give its supplies a split in the catalogue"
            )
        shares[supply.part] = Fraction(split if split is not None else 1) * Fraction(total.amount)
    money = shown(shares, total.currency)
    return [
        (
            view.parts[s.part],
            exact(base_amount(s.amount, view.parts[s.part])),
            Money(money[s.part] if listing.is_set else total.amount, total.currency),
        )
        for s in listing.supplies
    ]


def _singles(unit: Unit, listing: Listing) -> list[Listing]:
    if not listing.is_set:
        return []
    found = [x for s in listing.supplies for x in unit.catalogue.listings_of(s.part)]
    return [x for x in {x.key: x for x in found}.values() if not x.is_set]


def exact(value: Fraction) -> Decimal:
    """As many digits as a decimal has."""
    return Decimal(value.numerator) / Decimal(value.denominator)


def debited_over(drafts: Sequence[Draft], debited: Money | None) -> list[Draft]:
    """What was debited in all, shared by price to the cent."""
    if debited is None:
        return list(drafts)
    whole = sum((Fraction(p.total.amount) for p, _ in drafts), Fraction(0))
    sums = {
        str(n): Fraction(debited.amount)
        * (Fraction(p.total.amount) / whole if whole else Fraction(1, len(drafts)))
        for n, (p, _) in enumerate(drafts)
    }
    cents = shown(sums, debited.currency)
    return [
        (replace(p, debited=Money(cents[str(n)], debited.currency)), key)
        for n, (p, key) in enumerate(drafts)
    ]
