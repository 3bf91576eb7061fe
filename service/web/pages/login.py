"""Log in, log out, change one's password."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import Response

from service.errors import InputError
from service.web.pages.common import Text, go
from service.web.render import page

Then = Annotated[str, Form(alias="next", max_length=300)]
router = APIRouter(include_in_schema=False)
WRONG = "Name or password is not right."


@router.get("/login")
def form(
    request: Request, then: Annotated[str, Query(alias="next", max_length=300)] = "/"
) -> Response:
    return page(request, "login.html", {"next": then, "problem": None})


@router.post("/login")
def log_in(request: Request, name: Text, password: Text, then: Then = "/") -> Response:
    address = request.client.host if request.client else ""
    try:
        account = request.app.state.accounts.log_in(name, password, address)
    except InputError as error:
        return page(request, "login.html", {"next": then, "problem": str(error)}, 429)
    if account is None:
        return page(request, "login.html", {"next": then, "problem": WRONG}, 401)
    request.app.state.sessions.end(request.state.session.cookie)
    request.state.session = request.app.state.sessions.begin(account.name)
    return go(then)


@router.post("/logout")
def log_out(request: Request) -> Response:
    from service.web.sessions import new_session  # noqa: PLC0415 - only here

    request.app.state.sessions.end(request.state.session.cookie)
    request.state.session = new_session()
    return go("/login")


@router.get("/password")
def password_form(request: Request) -> Response:
    return page(request, "password.html", {"problem": None})


@router.post("/password")
def change_password(request: Request, old: Text, new: Text) -> Response:
    accounts, sessions = request.app.state.accounts, request.app.state.sessions
    user = request.state.session.user or ""
    address = request.client.host if request.client else ""
    account = accounts.log_in(user, old, address) if user else None
    if account is None:
        return page(request, "password.html", {"problem": WRONG}, 401)
    accounts.add(user, new, account.role)
    sessions.end_all_of(user)
    request.state.session = sessions.begin(user)
    return go("/", saved=True)
