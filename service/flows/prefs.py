"""Settings that live in the book: what the user chose on the pages.

What a settings file or the environment names goes over them (`deps.extra["fixed"]`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from service.errors import InputError
from service.flows.ports import Deps
from service.model.quiet import Quiet, parse_quiet, quiet_until

PREFIX = "own."
NAMES = ("currency", "destination", "time_zone", "quiet_hours")


def fixed(deps: Deps) -> Mapping[str, str]:
    """By setting the file or variable that names it."""
    found: Mapping[str, str] = deps.extra.get("fixed", {})
    return found


def applied(deps: Deps) -> Deps:
    """`deps` with the book's own settings, where nothing else fixes them."""
    with deps.store.read() as unit:
        rows = unit.settings(PREFIX)
    named = {name.removeprefix(PREFIX): text for name, text in rows.items()}
    open_ = {name: named[name] for name in NAMES if name in named and name not in fixed(deps)}
    changes: dict[str, Any] = dict(open_)
    if "destination" in open_:
        changes["destination"] = open_["destination"] or None
    if "quiet_hours" in open_:
        changes["quiet_hours"] = _quiet(open_["quiet_hours"])
    return replace(deps, **changes) if changes else deps


def _quiet(text: str) -> Quiet | None:
    try:
        return parse_quiet(text)
    except InputError:
        return None  # of a later version, perhaps: rather told at night than not at all


def keep(deps: Deps, chosen: Mapping[str, str]) -> Deps:
    """Keep checked settings in the book; answers `deps` with them. InputError for a fixed one."""
    bound = fixed(deps)
    for name in chosen:
        if name not in NAMES or name in bound:
            raise InputError(f"{name.replace('_', ' ')} is fixed by {bound.get(name, 'nobody')}")
    with deps.store.write() as unit:
        for name, text in chosen.items():
            unit.set_setting(PREFIX + name, text)
    return applied(deps)


def held_until(deps: Deps, at: datetime) -> datetime | None:
    """When the quiet hours that `at` lies in end; None: notices may go."""
    return quiet_until(deps.quiet_hours, at, deps.time_zone)
