"""Order plans, in the API: the object of `ebbmark plan`."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.flows.planning import Question, plan, read_person
from service.web.api.answers import ERRORS, answer

router = APIRouter(prefix="/api", tags=["book"], responses=ERRORS)
Builds = Annotated[list[str] | None, Query(max_length=50, description="keys of builds")]
People = Annotated[list[str] | None, Query(alias="for", max_length=50, description="NAME=BUILD")]
To = Annotated[str | None, Query(pattern="^[A-Z]{2}$", description="country (ISO 3166)")]
SECONDS = 5.0  # a page does not wait longer for a proof


@router.get("/plan", responses={200: {"description": "an object", "model": dict[str, Any]}})
def order_plan(
    request: Request,
    build: Builds = None,
    people: People = None,
    to: To = None,
    low: bool = True,
    others: bool = False,
) -> Response:
    """The cheapest order for builds, delivery and import cost included."""
    asked = Question(
        build or (),
        [read_person(text) for text in people or ()],
        to,
        low=low,
        weigh=others,
        limit=SECONDS,
    )
    return answer(request, plan(request.app.state.deps, asked))
