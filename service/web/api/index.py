"""The index of a build, in the API."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.flows.index import index
from service.web.api.answers import ERRORS, answer

router = APIRouter(prefix="/api", tags=["book"], responses=ERRORS)
Since = Annotated[str | None, Query(max_length=40, description="a day or a time (ISO 8601)")]


@router.get(
    "/builds/{build}/index",
    responses={200: {"description": "an object", "model": dict[str, Any]}},
)
def build_index(request: Request, build: str, since: Since = None) -> Response:
    """How the cost of a build's parts moved and which of them moved it, by several formulas."""
    return answer(request, index(request.app.state.deps, build, since))
