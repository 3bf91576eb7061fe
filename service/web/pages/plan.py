"""The order plan of a build, as a page."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.flows.planning import Question, plan
from service.web.pages.common import deps_of
from service.web.places import COUNTRIES
from service.web.render import page

router = APIRouter(include_in_schema=False)
To = Annotated[str | None, Query(pattern="^([A-Z]{2})?$")]
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
