"""Templates: one environment, autoescaped, with the words and numbers of `show` and `words`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Request
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from starlette.responses import HTMLResponse

from service.web import show, words
from service.web.accounts import Role
from service.web.guard import safe_link


def _environment() -> Environment:
    env = Environment(
        loader=PackageLoader("service.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    for name in (
        "number",
        "money",
        "amount",
        "hours",
        "hours_ago",
        "percent",
        "plural",
        "sentence",
        "host",
        "trim",
    ):
        env.filters[name] = getattr(show, name)
    env.filters |= {"ago": _ago, "due": _due, "moment": _moment, "day": _day, "link": safe_link}
    env.filters |= {
        "path": path_quote,
        "unit": show.unit,
        "rate": show.rate,
        "share": _share,
        "said_of": _said_of,
    }
    env.globals |= {"_": words.say, "OUTCOMES": words.OUTCOMES, "AVAILABILITY": words.AVAILABILITY}
    env.globals |= {"STATUS": words.STATUS, "TAX": words.TAX, "SOURCES": words.SOURCES}
    return env


def _share(value: str | None) -> str:
    """A fraction of 1, or a percentage that says so, as whole percent."""
    return "" if value is None else f"{round(float(value) * 100)}\u00a0%"


def _said_of(entry: Mapping[str, str]) -> str:
    """The sentence of a hint, whatever names it."""
    for name in ("text", "why", "hint", "note"):
        if entry.get(name):
            return str(entry[name])
    return ": ".join(str(value) for value in entry.values())


@pass_context
def _ago(context: Context, text: str | None) -> str:
    return show.ago(text, context["now"])


@pass_context
def _due(context: Context, text: str | None) -> str:
    said = show.ago(text, context["now"])
    return said if said.startswith("in ") else words.say("due now")


@pass_context
def _moment(context: Context, text: str | None) -> str:
    return show.moment(text, context["zone"])


@pass_context
def _day(context: Context, text: str | None, *, year: bool = True) -> str:
    return show.day(text, context["zone"], year=year)


def path_quote(text: str) -> str:
    """A key as one segment of a path."""
    from urllib.parse import quote  # noqa: PLC0415 - only here

    return quote(text, safe="")


ENVIRONMENT = _environment()


def page(
    request: Request, template: str, values: Mapping[str, Any] | None = None, status: int = 200
) -> HTMLResponse:
    """A whole page; what every page needs is added here."""
    text = ENVIRONMENT.get_template(template).render({**common(request), **(values or {})})
    return HTMLResponse(text, status)


def common(request: Request) -> dict[str, Any]:
    """What every page knows: where it is, who looks, the token, the time."""
    state = request.scope["app"].state if "app" in request.scope else None
    session = request.scope.get("state", {}).get("session")
    ready = state is not None and session is not None and hasattr(state, "sessions")
    return {
        "path": request.scope["path"],
        "assets": state.assets.url if state is not None else (lambda name: f"/static/{name}"),
        "token": state.sessions.token(session) if ready and state is not None else "",
        "user": session.user if session else None,
        "role": _role(request) if ready else Role.NOBODY,
        "Role": Role,
        "now": state.deps.clock() if state is not None else None,
        "zone": state.deps.time_zone if state is not None else "UTC",
        "home_currency": state.deps.currency if state is not None else "EUR",
        "saved": request.query_params.get("saved", "")[:40],
    }


def _role(request: Request) -> Role:
    from service.web.access import role_of  # noqa: PLC0415 - access needs nothing of pages

    return role_of(request)
