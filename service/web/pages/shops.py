"""Suppliers, and the workshop: orders, what is on hand, and where it goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, Field
from starlette.responses import Response

from service.errors import InputError
from service.flows import buying, ordering, orders, views
from service.flows import workshop as books
from service.flows.buying import Bought
from service.flows.ordering import Terms, Wanted
from service.flows.orders import Change
from service.flows.ports import Deps
from service.model.money import parse_money
from service.model.orders import BillKind
from service.web.pages.common import Text, deps_of, go
from service.web.render import page

router = APIRouter(include_in_schema=False)
STEPS: dict[str, Callable[[Deps, str, Change], Any]] = {
    "arrived": orders.arrive,
    "wrong": orders.wrong,
    "cancelled": orders.cancel,
    "returned": orders.give_back,
}
BILLS: dict[str, BillKind] = {
    "postage": "postage",
    "customs": "customs",
    "carrier": "carrier",
    "fee": "fee",
}


@router.get("/suppliers")
def suppliers(request: Request) -> Response:
    return page(request, "suppliers.html", {"shops": views.suppliers(deps_of(request))})


@router.get("/suppliers/{key}")
def supplier(request: Request, key: str) -> Response:
    return page(request, "supplier.html", {"shop": views.supplier(deps_of(request), key)})


@router.get("/workshop")
def workshop(request: Request) -> Response:
    deps = deps_of(request)
    values = {
        "shop": views.workshop(deps),
        "parts": views.part_names(deps),
        "suppliers": views.names(deps)["supplier"],
    }
    return page(request, "workshop.html", values)


class Purchase(BaseModel):
    """The form of a purchase; an empty text is none."""

    part: str = Field(max_length=300)
    total: str = Field(max_length=300)
    count: str = Field("1", max_length=300)
    supplier: str = Field("", max_length=300)
    on: str = Field("", max_length=300)
    order: str = Field("", max_length=300)
    how: str = Field("here", max_length=300)
    debited: str = Field("", max_length=300)
    condition: str = Field("new", max_length=300)
    holds: str = Field("", max_length=300)


@router.post("/workshop/buy")
def buy(request: Request, form: Annotated[Purchase, Form()]) -> Response:
    """Bought and here, or ordered and on its way."""
    deps, paid, many = deps_of(request), parse_money(form.total), _count(form.count)
    debited = parse_money(form.debited) if form.debited.strip() else None
    supplier, on, order = form.supplier or None, form.on or None, form.order.strip() or None
    if form.how == "ordered":
        terms = Terms(supplier, on, debited=debited)
        ordering.place(deps, [Wanted(form.part, many, paid)], terms, order)
    else:
        more = Bought(supplier, on, order, debited, form.condition, form.holds.strip() or None)
        buying.buy(deps, form.part, many, paid, more)
    return go("/workshop", saved=True)


@router.post("/workshop/orders")
def happened(
    request: Request,
    order: Text,
    what: Text,
    part: Text = "",
    count: Text = "",
    money: Text = "",
    on: Text = "",
) -> Response:
    """An order, or one of its parts: arrived, came wrong, will not come, went back, was billed."""
    deps, paid = deps_of(request), parse_money(money) if money.strip() else None
    change = Change(part or None, _count(count) if count.strip() else None, on or None, paid)
    if what in STEPS:
        STEPS[what](deps, order, replace(change, money=paid if what == "returned" else None))
    elif paid is None:
        raise InputError("how much was it? Write it like 12.50 EUR")
    elif what == "refunded":
        orders.refund(deps, order, paid, change)
    elif what in BILLS:
        orders.bill(deps, order, BILLS[what], paid, on=on or None)
    else:
        raise InputError(f"what happened? One of {', '.join([*STEPS, 'refunded', *BILLS])}")
    return go("/workshop", saved=True)


@router.post("/workshop/take")
def take(
    request: Request, part: Text, amount: Text, to: Text, money: Text = "", on: Text = ""
) -> Response:
    """From hand into a build, sold, or gone for good."""
    deps, day = deps_of(request), on or None
    kind, _, build = to.partition(":")
    if kind == "build":
        books.use(deps, part, amount, build, on=day)
    elif kind == "sold":
        if not money.strip():
            raise InputError("what was paid for it? Write it like 12.50 EUR")
        books.sell(deps, part, amount, parse_money(money), on=day)
    elif kind == "gone":
        books.write_off(deps, part, amount, on=day)
    else:
        raise InputError("where did it go? Into a build, sold, or gone for good")
    return go("/workshop", saved=True)


@router.post("/workshop/good")
def good(request: Request, part: Text) -> Response:
    """Past its shelf life, and found to be still good today."""
    books.still_good(deps_of(request), part)
    return go("/workshop", saved=True)


def _count(text: str) -> Decimal:
    try:
        return Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        raise InputError(f'count "{text}" is not a number: write 1 or 2.5') from None
