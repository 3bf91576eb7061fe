"""Deals, open and past, with the evidence of each."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.flows import ask, views
from service.web.pages.common import deps_of
from service.web.render import page

router = APIRouter(include_in_schema=False)


@router.get("/deals")
def deals(request: Request) -> Response:
    deps = deps_of(request)
    found = ask.deals(deps)
    names = views.names(deps)
    is_open = [deal for deal in found if deal["state"] == "open"]
    past = [deal for deal in found if deal["state"] != "open"]
    return page(request, "deals.html", {"open": is_open, "past": past, "names": names})
