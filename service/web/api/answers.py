"""JSON answers: entity tags, pages of a list, and how errors are documented."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Query, Request
from pydantic import BaseModel
from starlette.responses import Response

Limit = Annotated[int, Query(ge=1, le=1000, description="how many entries at most")]
Offset = Annotated[int, Query(ge=0, le=10_000_000, description="how many entries to leave out")]


class Problem(BaseModel):
    """Problem details (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    problems: list[str] | None = None
    instance: str | None = None


_BODY = {"model": Problem, "content": {"application/problem+json": {}}}
ERRORS: dict[int | str, dict[str, Any]] = {
    code: {**_BODY, "description": text}
    for code, text in {
        400: "The request cannot be read",
        401: "Log in first",
        403: "Not allowed, or the token is missing",
        404: "No such thing in the book",
        413: "Too large",
        421: "Another host's name",
        422: "The input cannot be used; `problems` says why",
        429: "Too often",
        503: "The book cannot be opened now",
    }.items()
}


def answer(request: Request, data: Any, headers: dict[str, str] | None = None) -> Response:
    """JSON with an entity tag; 304 where the asker has it already (RFC 9110, 13.1.2)."""
    body = json.dumps(data, ensure_ascii=False, separators=(",", ":")).encode()
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    found = {"ETag": tag, "Cache-Control": "private, no-cache", **(headers or {})}
    if _known(request.headers.get("if-none-match", ""), tag):
        return Response(status_code=304, headers=found)
    return Response(body, media_type="application/json", headers=found)


def _known(header: str, tag: str) -> bool:
    given = {item.strip().removeprefix("W/") for item in header.split(",")}
    return tag in given or "*" in given


def part_of(request: Request, rows: Sequence[Any], limit: int, offset: int) -> Response:
    """One stretch of a list; `Link` leads to the next (RFC 8288), `X-Total` counts all."""
    headers = {"X-Total": str(len(rows))}
    if offset + limit < len(rows):
        following = request.url.include_query_params(limit=limit, offset=offset + limit)
        headers["Link"] = f'<{following.path}?{following.query}>; rel="next"'
    return answer(request, list(rows[offset : offset + limit]), headers)
