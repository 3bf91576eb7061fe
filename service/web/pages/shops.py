"""Suppliers, and the workshop with what is on hand and what was bought."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.errors import InputError
from service.flows import edit, views
from service.model.money import parse_money
from service.web.pages.common import Text, deps_of, go
from service.web.render import page

router = APIRouter(include_in_schema=False)


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


@router.post("/workshop/buy")
def buy(
    request: Request,
    part: Text,
    total: Text,
    count: Text = "1",
    supplier: Text = "",
    on: Text = "",
    order: Text = "",
) -> Response:
    edit.buy(
        deps_of(request),
        part,
        count=_count(count),
        total=parse_money(total),
        supplier=supplier or None,
        on=on or None,
        order=order or None,
    )
    return go("/workshop", saved=True)


def _count(text: str) -> Decimal:
    try:
        return Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        raise InputError(f'count "{text}" is not a number: write 1 or 2.5') from None
