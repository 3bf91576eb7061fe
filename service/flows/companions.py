"""What a build might lack: shown with parts that would do, added, or dismissed once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.builds.companions import Rules, builtin_rules, read_rules
from service.builds.cost import price_build
from service.errors import InputError, NotFoundError
from service.flows import build_edit
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.model.book import RULES
from service.model.catalogue import Part

MOST_RULES_TEXT = 200_000


def rules_of(unit: Unit) -> Rules:
    """The program's rules with the user's own over them."""
    own = unit.setting(RULES)
    return read_rules(own, builtin_rules()) if own else builtin_rules()


def lacking(deps: Deps, build: str) -> list[dict[str, Any]]:
    """The hints of a build, each with `candidates`: keys of catalogue parts that answer it."""
    with deps.store.read() as unit:
        found = unit.catalogue.build(build)
        if found is None:
            raise NotFoundError(f'no build "{build}"')
        cost = price_build(found, price_view(unit, deps, deps.clock()))
        rules, parts = rules_of(unit), unit.catalogue.parts()
    groups = {line.part: line.group for line in cost.lines}
    return [
        {
            **hint,
            "group": groups.get(hint["part"], "other"),
            "candidates": _candidates(rules, hint["rule"], parts, hint["part"]),
        }
        for hint in cost.companions
    ]


def _candidates(rules: Rules, rule: str, parts: Mapping[str, Part], asking: str) -> list[str]:
    plain = rules.rules.get(rule)
    kind = plain.wants if plain else rules.ratios[rule].partner
    return [key for key, part in parts.items() if kind.holds(part) and key != asking]


def add(
    deps: Deps,
    build: str,
    rule: str,
    *,
    part: str | None = None,
    amount: str = "1",
    group: str = "",
) -> dict[str, Any]:
    """What the rule asks for becomes a line. InputError names the parts to choose from."""
    hint = _hint(deps, build, rule)
    options = hint["candidates"]
    if part is None and len(options) != 1:
        known = f"one of {', '.join(options)}" if options else "a part of the catalogue"
        raise InputError(f"{rule}: {hint['lacks']}: name {known} with --part")
    chosen = part or options[0]
    build_edit.add_line(deps, build, chosen, amount, group or hint["group"])
    return {"build": build, "rule": rule, "part": chosen}


def dismiss(deps: Deps, build: str, rule: str) -> dict[str, Any]:
    """Not said again for this build. NotFoundError names the hints that there are."""
    _hint(deps, build, rule)
    build_edit.dismiss(deps, build, rule)
    return {"build": build, "rule": rule, "dismissed": True}


def _hint(deps: Deps, build: str, rule: str) -> dict[str, Any]:
    found = lacking(deps, build)
    hint = next((one for one in found if one["rule"] == rule), None)
    if hint is None:
        known = ", ".join(one["rule"] for one in found) or "none"
        raise NotFoundError(f'{build} has no hint "{rule}"; there are: {known}')
    return hint


def own_rules(deps: Deps, text: str) -> None:
    """Keep the user's rules, over those of the program. InputError: they cannot be read."""
    if len(text) > MOST_RULES_TEXT:
        raise InputError(f"the companion rules are longer than {MOST_RULES_TEXT} characters")
    read_rules(text, builtin_rules())
    with deps.store.write() as unit:
        unit.set_setting(RULES, text)
