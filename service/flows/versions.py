"""Builds side by side, and cheaper parts that would still serve."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.builds.compare import compare, comparison_to_json, proposals
from service.builds.cost import price_build
from service.errors import InputError, NotFoundError
from service.flows.load import price_view
from service.flows.names import moment
from service.flows.ports import Deps
from service.model.builds import Build
from service.model.money import money_text


def side_by_side(
    deps: Deps, build: str, other: str | None = None, at: str | None = None
) -> dict[str, Any]:
    """`{"build", "comparisons", "proposals"}`: with `other`, or with every version of the build.

    A version alone is compared with what it derives from. Both count in the first one's
    currency.
    """
    when = moment(at, deps)
    with deps.store.read() as unit:
        view = price_view(unit, deps, when)
    builds = dict(view.builds)
    for key in filter(None, (build, other)):
        if key not in builds:
            raise NotFoundError(f'no build "{key}"; there are: {", ".join(builds) or "none yet"}')
    own = builds[build]
    first, others = _pairs(own, builds, other)
    if not others and other is None:
        others = []
    before = price_build(first, view)
    found = [comparison_to_json(compare(before, price_build(_in(x, first), view))) for x in others]
    return {
        "build": build,
        "currency": first.currency,
        "comparisons": found,
        "proposals": [
            {
                "line": one.line,
                "part": one.part,
                "instead_of": one.instead_of,
                "note": one.note or None,
                "saves_share": money_text(one.share, own.currency),
                "saves_to_spend": money_text(one.to_spend, own.currency),
            }
            for one in proposals(own, view)
        ],
    }


def _pairs(own: Build, builds: dict[str, Build], other: str | None) -> tuple[Build, list[Build]]:
    if other is not None:
        if other == own.key:
            raise InputError("name two different builds")
        return own, [builds[other]]
    derived = [one for one in builds.values() if one.base == own.key]
    if not derived and own.base in builds:
        return builds[own.base], [own]
    return own, derived


def _in(build: Build, first: Build) -> Build:
    return replace(build, currency=first.currency)
