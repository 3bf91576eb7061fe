"""A build takes what it needs from the shelf: looked at first, then booked in one step."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.flows import views
from service.flows.taking import take_all
from service.web.pages.common import Text, at_build, deps_of, go
from service.web.render import page

router = APIRouter(include_in_schema=False)
SCRAP = "30 mm"


@router.get("/builds/{key}/take")
def look(
    request: Request, key: str, scrap: Annotated[str, Query(max_length=20)] = SCRAP
) -> Response:
    deps = deps_of(request)
    found = take_all(deps, key, scrap=scrap, preview=True)
    name = views.names(deps)["build"].get(key, key)
    return page(request, "take.html", {"found": found, "name": name, "scrap": scrap})


@router.post("/builds/{key}/take")
def book(request: Request, key: str, on: Text = "", scrap: Text = SCRAP) -> Response:
    take_all(deps_of(request), key, on=on or None, scrap=scrap)
    return go(at_build(key), saved=True)
