"""Deals, open and past, with the evidence of each."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from service.flows import ask, targets, views
from service.model.times import time_text
from service.web.feed import atom
from service.web.pages.common import Name, deps_of, go
from service.web.render import page

router = APIRouter(include_in_schema=False)
Then = Annotated[str, Form(alias="next", max_length=300)]


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
    values = {"open": is_open, "past": past, "names": names, "targets": targets.rows(deps)}
    return page(request, "deals.html", values)


@router.post("/targets/remove")
def remove_target(request: Request, key: Name, then: Then = "/deals") -> Response:
    """Whatever it is on: a page, a part, a class of parts or a build."""
    targets.remove(deps_of(request), key)
    return go(then, saved=True)
