"""What the handlers of all pages share."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from urllib.parse import quote

from fastapi import Form, Request
from starlette.responses import RedirectResponse

from service.flows.ports import Deps
from service.settings import Settings
from service.web.guard import local_path

Text = Annotated[str, Form(max_length=300)]
Long = Annotated[str, Form(max_length=2000)]
Name = Annotated[str, Form(max_length=2000)]


def deps_of(request: Request) -> Deps:
    found: Deps = request.app.state.deps
    return found


def settings_of(request: Request) -> Settings:
    found: Settings = request.app.state.settings
    return found


def now_of(request: Request) -> datetime:
    return deps_of(request).clock()


def go(path: str, *, saved: bool = False) -> RedirectResponse:
    """To another page of ours after a change (303: the browser asks with GET)."""
    target = local_path(path)
    if saved:
        target += ("&" if "?" in target else "?") + "saved=1"
    return RedirectResponse(target, 303)


def at_build(key: str) -> str:
    return f"/builds/{quote(key, safe='')}"


def at_part(key: str) -> str:
    return f"/parts/{quote(key, safe='')}"
