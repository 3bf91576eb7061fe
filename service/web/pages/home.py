"""Today, or the three doors of an empty book."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.flows import ask, views
from service.web.pages.common import deps_of
from service.web.places import guess
from service.web.render import page

router = APIRouter(include_in_schema=False)


@router.get("/")
def today(request: Request) -> Response:
    deps = deps_of(request)
    found = views.today(deps)
    if found["empty"]:
        place = guess(request.headers.get("accept-language", ""))
        return page(request, "empty.html", {"place": place})
    open_now = ask.deals(deps, only_open=True)
    return page(
        request, "today.html", {"today": found, "deals": open_now, "names": views.names(deps)}
    )
