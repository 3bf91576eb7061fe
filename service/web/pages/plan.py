"""The order plan of a build, as a page."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from pydantic import Field
from starlette.responses import Response

from service.flows.ordering import Terms, place, read_wanted
from service.flows.planning import Question, plan
from service.model.money import Money, parse_money
from service.web.pages.common import Text, deps_of, go
from service.web.places import COUNTRIES
from service.web.render import page

router = APIRouter(include_in_schema=False)
To = Annotated[str | None, Query(pattern="^([A-Z]{2})?$")]
Lines = Annotated[list[Annotated[str, Field(max_length=2100)]], Form(max_length=500)]
SECONDS = 5.0


@router.get("/builds/{key}/plan")
def order_plan(
    request: Request, key: str, to: To = None, low: bool = True, others: bool = False
) -> Response:
    """What to order where for the build; `others`: and what else could be ordered."""
    asked = Question([key], (), to or None, low=low, weigh=others, limit=SECONDS)
    found = plan(deps_of(request), asked)
    values = {"found": found, "key": key, "to": to, "countries": COUNTRIES, "weighed": others}
    return page(request, "plan.html", values)


@router.post("/orders")
def booked(
    request: Request,
    line: Lines,
    order: Text = "",
    shipping: Text = "",
    estimate: Text = "",
) -> Response:
    """An order of the plan is placed: its lines are on their way from now on."""
    terms = Terms(shipping=_money(shipping), estimate=_money(estimate))
    place(deps_of(request), [read_wanted(one) for one in line], terms, order.strip() or None)
    return go("/workshop", saved=True)


def _money(text: str) -> Money | None:
    return parse_money(text) if text.strip() else None
