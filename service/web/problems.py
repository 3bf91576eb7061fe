"""Errors as people and programs read them: a sheet for a browser, RFC 9457 for the API."""

from __future__ import annotations

import re
from collections.abc import MutableMapping
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from scrapers import ScrapeError
from service.errors import InputError, NotFoundError, ServiceError, StoreError
from service.web.render import page

PROBLEM_TYPE = "application/problem+json"
SENTENCES = {
    403: "That is not allowed.",
    404: "There is nothing at this address.",
    405: "That cannot be done at this address.",
    413: "That is too large.",
    421: "This address is not served under that name.",
    422: "That cannot be used.",
    429: "That was too often; wait a minute.",
    500: "Something went wrong here, and nothing of it was kept. What was there before still is.",
    503: "The book cannot be opened just now.",
}
_HTML = re.compile(r"text/html", re.ASCII)


class ProblemResponse(JSONResponse):
    media_type = PROBLEM_TYPE


def problem(
    status: int, detail: str, problems: list[str] | None = None, request_id: str = ""
) -> dict[str, Any]:
    """A problem details object (RFC 9457, section 3)."""
    found: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail or SENTENCES.get(status, HTTPStatus(status).phrase),
    }
    if problems:
        found["problems"] = problems
    if request_id:
        found["instance"] = f"urn:request:{request_id}"
    return found


def wants_page(scope: MutableMapping[str, Any]) -> bool:
    """Whether the answer is for a person's eyes."""
    accept = dict(scope["headers"]).get(b"accept", b"").decode("latin-1")
    return not scope["path"].startswith("/api/") and _HTML.search(accept) is not None


def problem_answer(
    scope: MutableMapping[str, Any], status: int, detail: str, problems: list[str] | None = None
) -> Response:
    """The answer for an error, as whoever asked can use it."""
    request_id = scope.get("state", {}).get("request_id", "")
    found = problem(status, detail, problems, request_id)
    if not wants_page(scope):
        return ProblemResponse(found, status)
    return page(Request(scope), "error.html", {"problem": found, "request_id": request_id}, status)


def add_handlers(app: FastAPI) -> None:
    """One handler for each class of error that a caller can tell apart."""

    async def http_error(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)  # noqa: S101 - registered for it only
        if error.status_code == HTTPStatus.UNAUTHORIZED and wants_page(request.scope):
            return RedirectResponse(f"/login?next={quote(request.url.path)}", 303)
        detail = error.detail if error.detail != HTTPStatus(error.status_code).phrase else ""
        answer = problem_answer(request.scope, error.status_code, detail)
        answer.headers.update(error.headers or {})
        return answer

    async def service_error(request: Request, error: Exception) -> Response:
        status = {InputError: 422, NotFoundError: 404, StoreError: 503}.get(type(error), 500)
        problems = error.problems if isinstance(error, InputError) else None
        return problem_answer(request.scope, status, str(error) if status < 500 else "", problems)

    async def invalid(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for it only
        problems = [f"{_place(e['loc'])}: {e['msg']}" for e in error.errors()]
        return problem_answer(request.scope, 422, "; ".join(problems)[:1000], problems[:50])

    async def scrape_error(request: Request, error: Exception) -> Response:
        return problem_answer(request.scope, 422, str(error))

    app.add_exception_handler(ScrapeError, scrape_error)
    app.add_exception_handler(HTTPException, http_error)
    app.add_exception_handler(ServiceError, service_error)
    app.add_exception_handler(RequestValidationError, invalid)


def _place(where: tuple[Any, ...]) -> str:
    return ".".join(str(step) for step in where[1:]) or str(where[0])
