"""Deals, open and past, with the evidence of each."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.builds.cost_json import time_text
from service.flows import ask, views
from service.web.feed import atom
from service.web.pages.common import deps_of
from service.web.render import page

router = APIRouter(include_in_schema=False)


@router.get("/deals.atom")
def feed(request: Request) -> Response:
    """For a feed reader on this machine."""
    deps = deps_of(request)
    home = str(request.base_url)
    body = atom(ask.deals(deps), views.names(deps), home, time_text(deps.clock()))
    return Response(body, media_type="application/atom+xml")


@router.get("/deals")
def deals(request: Request) -> Response:
    deps = deps_of(request)
    found = ask.deals(deps)
    names = views.names(deps)
    is_open = [deal for deal in found if deal["state"] == "open"]
    past = [deal for deal in found if deal["state"] != "open"]
    return page(request, "deals.html", {"open": is_open, "past": past, "names": names})
