"""Settings: those of the book to change, the others as they stand; channels, people."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import available_timezones

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from service.errors import DeliveryError, InputError
from service.flows import prefs
from service.model.deals import Notice
from service.settings import SETTINGS, read_setting
from service.web.accounts import Accounts, Role
from service.web.pages.common import Text, deps_of, go, settings_of
from service.web.places import COUNTRIES
from service.web.render import page
from service.web.sessions import Sessions

router = APIRouter(include_in_schema=False)
ZONES = sorted(z for z in available_timezones() if "/" in z and not z.startswith("Etc/"))


def _accounts(request: Request) -> Accounts:
    found: Accounts = request.app.state.accounts
    return found


def _sessions(request: Request) -> Sessions:
    found: Sessions = request.app.state.sessions
    return found


@router.get("/settings")
def settings(request: Request, tested: str = "") -> Response:
    found, deps = settings_of(request), deps_of(request)
    hidden = ("db", "channel", "payment", "supplies", "allow_hosts", *prefs.NAMES)
    rows = [(n, _shown(getattr(found, n)), why) for n, why in SETTINGS if n not in hidden]
    values = {
        "rows": rows,
        "own": {name: str(getattr(deps, name) or "") for name in prefs.NAMES},
        "quiet_now": prefs.held_until(deps, deps.clock()),
        "bound": {name: _by(where) for name, where in prefs.fixed(deps).items()},
        "zones": ZONES,
        "countries": COUNTRIES,
        "channels": [(c.name, c.kind) for c in found.channels],
        "accounts": sorted(_accounts(request).all().values(), key=lambda a: a.name),
        "roles": [role for role in Role if role is not Role.NOBODY],
        "tested": tested[:60],
    }
    return page(request, "settings.html", values)


def _shown(value: Any) -> str:
    """A setting in words; nothing of what a file's table holds."""
    if isinstance(value, frozenset | tuple):
        value = ", ".join(sorted(value))
    if value in (None, ""):
        return "not set"
    return str(value) if isinstance(value, str | int) else "set"


def _by(where: str) -> str:
    """What fixes a setting, without the file's whole path."""
    return where if where.startswith("EBBMARK_") else "the settings file"


@router.post("/settings/own")
async def own(request: Request) -> Response:
    """Change what the book keeps; fields that the file fixes are not sent.

    The form is read whole: an empty field says "none", one that is not sent says nothing.
    """
    sent = {k: v.strip() for k, v in (await request.form()).items() if isinstance(v, str)}
    chosen = {name: sent[name] for name in prefs.NAMES if name in sent}
    if "quiet_from" in sent and "quiet_to" in sent:
        both = (sent["quiet_from"], sent["quiet_to"])
        chosen["quiet_hours"] = "-".join(both) if any(both) else ""
    checked = {name: _checked(name, text[:60]) for name, text in chosen.items()}
    if not checked:
        raise InputError("nothing to keep was sent")
    kept = await run_in_threadpool(prefs.keep, deps_of(request), checked)
    request.app.state.deps = kept
    return go("/settings", saved=True)


def _checked(name: str, text: str) -> str:
    value = read_setting(name, text.upper() if name == "currency" else text)
    return "" if value is None else str(value)


@router.post("/settings/test")
async def test(request: Request, channel: Text) -> Response:
    """One message over one channel, at once."""
    deps = deps_of(request)
    if channel not in deps.channels:
        raise InputError(f'no channel "{channel}"')
    now = datetime.now(UTC)
    text = "If you can read this, this way of telling you works."
    notice = Notice(f"test:{channel}:{now:%s}", channel, "Ebbmark: a test", text, {}, now)
    try:
        await deps.channels[channel].send(notice)
    except DeliveryError as error:
        raise InputError(f"{channel}: not delivered: {error}") from error
    return go(f"/settings?tested={channel}")


@router.post("/settings/users")
def add_user(request: Request, name: Text, password: Text, role: Text = "viewer") -> Response:
    """The first account is an admin, and from then on everybody has to log in."""
    accounts = _accounts(request)
    first = not accounts.all()
    accounts.add(name, password, Role.ADMIN if first else _role(role))
    _sessions(request).end_all_of(name.strip().casefold())
    if first:
        request.state.session = _sessions(request).begin(name.strip().casefold())
    return go("/settings", saved=True)


@router.post("/settings/users/role")
def change_role(request: Request, name: Text, role: Text) -> Response:
    if role == "remove":
        _accounts(request).remove(name)
    else:
        _accounts(request).set_role(name, _role(role))
    _sessions(request).end_all_of(name)
    return go("/settings", saved=True)


def _role(text: str) -> Role:
    try:
        return Role[text.upper()]
    except KeyError:
        raise InputError("role: viewer, editor or admin") from None
