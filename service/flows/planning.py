"""Planning an order: which builds for whom, where to, and what runs low on the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from service.builds.amounts import base_amount
from service.builds.cautions import cautions_for
from service.builds.offers import Market
from service.builds.plan import TIME_LIMIT, WEIGHING, Asked, Plan, make_plan
from service.builds.plan_json import plan_to_json
from service.builds.shelf import running_low
from service.builds.versions import resolve
from service.errors import InputError
from service.flows.books import books_at, day_of
from service.flows.load import price_view
from service.flows.names import need_build
from service.flows.ports import Deps, Unit
from service.model.builds import Build
from service.model.catalogue import Part


@dataclass(frozen=True, slots=True)
class Question:
    """`builds` by key, in their order; `people`: (name, build) of those that are for others.

    A build among `builds` that is for somebody is only for them; one that is not is one more.
    `country`: where to, instead of the builds' own or the settings'. `low`: what runs low
    joins. `weigh`: what else could be ordered is told too.
    """

    builds: Sequence[str] = ()
    people: Sequence[tuple[str, str]] = ()
    country: str | None = None
    low: bool = True
    weigh: bool = True
    limit: float = TIME_LIMIT


def read_person(text: str) -> tuple[str, str]:
    """`"Ada=curlew"` -> (Ada, curlew). InputError says how to write it."""
    name, equals, build = (part.strip() for part in text.partition("="))
    if not (name and equals and build):
        raise InputError(f'--for: "{text}" names nobody: write it like Ada=curlew')
    return name, build


def plan(deps: Deps, question: Question, at: datetime | None = None) -> dict[str, Any]:
    """The JSON object of `ebbmark plan`. NotFoundError for a build; InputError."""
    with deps.store.read() as unit:
        found = _asked(unit, question)
        view = price_view(unit, deps, at or deps.clock())
        wholes = [resolve(one.build, view.builds) for one in found]
        country = question.country or _destination(wholes) or view.destination
        low = _low(unit, deps) if question.low else []
    market = Market(replace(view, destination=country), wholes[0].currency)
    made = make_plan(
        found,
        market,
        [(part, base_amount(part.keep, part)) for part in low if part.keep],
        limit=question.limit,
        weigh=WEIGHING if question.weigh else 0.0,
    )
    names = {one.build.key: one.build.name for one in found}
    answer = plan_to_json(made, market, names)
    asked = [
        {"build": one.build.key, "name": one.build.name, "for": one.person or None} for one in found
    ]
    return {"builds": asked, **answer, "cautions": _cautions(made)}


def _asked(unit: Unit, question: Question) -> list[Asked]:
    """The user's own builds first, so that their stock serves them."""
    waiting = list(question.people)
    found = []
    for key in question.builds:
        mine = next((pair for pair in waiting if pair[1] == key), None)
        if mine is not None:
            waiting.remove(mine)
        found.append(Asked(need_build(unit, key), mine[0] if mine else ""))
    found += [Asked(need_build(unit, key), name) for name, key in waiting]
    if not found:
        raise InputError("name a build to plan an order for")
    return sorted(found, key=lambda one: bool(one.person))


def _destination(builds: Sequence[Build]) -> str | None:
    """Where the builds go; InputError where they go to several countries."""
    found = list(dict.fromkeys(build.destination for build in builds if build.destination))
    if len(found) > 1:
        raise InputError(f"the builds go to {' and '.join(found)}: say one with --to")
    return found[0] if found else None


def _low(unit: Unit, deps: Deps) -> list[Part]:
    """Parts that run low on the shelf."""
    parts = unit.catalogue.parts()
    found = books_at(unit, deps, day_of(deps.clock(), deps))
    return [
        parts[key] for key in running_low(parts.values(), found.statement, found.day, found.good)
    ]


def _cautions(made: Plan) -> list[str]:
    parts = [way.part for want in made.wants for way in want.ways]
    imported = any(order.terms.border is not None for order in made.orders)
    return [caution.text for caution in cautions_for(parts, imported=imported)]
