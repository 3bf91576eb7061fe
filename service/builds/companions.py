"""What a build might lack: rules of trade practice from data, asked of its parts."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from service.builds.cents import number_text
from service.builds.fit import CONTROLLER
from service.builds.specs import spec_value
from service.builds.words import Kind, read_kind
from service.errors import InputError
from service.model.catalogue import Part


@dataclass(frozen=True, slots=True)
class Rule:
    """Where a part is of kind `when` and none of kind `wants`, say what lacks and why."""

    id: str
    when: Kind
    wants: Kind
    lacks: str
    why: str
    plug: bool = False


@dataclass(frozen=True, slots=True)
class Ratio:
    """So many times the mass of `of` is wanted of `with`."""

    id: str
    of: Kind
    partner: Kind
    least: Decimal
    most: Decimal
    lacks: str
    why: str


@dataclass(frozen=True, slots=True)
class Rules:
    """All rules by their id."""

    rules: Mapping[str, Rule]
    ratios: Mapping[str, Ratio]


@dataclass(frozen=True, slots=True)
class Used:
    """A part that the build uses, and how much of it weighs what (g; None: not known)."""

    part: Part
    grams: Fraction | None = None


@cache
def builtin_rules() -> Rules:
    """The rules that come with the program."""
    text = (files("service.data") / "companions.toml").read_text(encoding="utf-8")
    return read_rules(text)


def read_rules(text: str, base: Rules | None = None) -> Rules:
    """Rules from TOML over `base`: an id replaces, `off = true` removes. InputError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"the companion rules are no TOML: {error}") from None
    rules = dict(base.rules) if base else {}
    ratios = dict(base.ratios) if base else {}
    for row in data.get("rule", ()):
        _put(rules, row, _rule)
    for row in data.get("ratio", ()):
        _put(ratios, row, _ratio)
    return Rules(rules, ratios)


def _put(found: dict[str, Any], row: Mapping[str, Any], read: Any) -> None:
    key = row.get("id")
    if not isinstance(key, str) or not key:
        raise InputError('a companion rule lacks its id: write id = "servo-lead"')
    if row.get("off"):
        found.pop(key, None)
        return
    try:
        found[key] = read(row)
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(f"companion rule '{key}' lacks or misuses {error}") from None


def _rule(row: Mapping[str, Any]) -> Rule:
    return Rule(
        id=row["id"],
        when=read_kind(row["when"]),
        wants=read_kind(row["wants"]),
        lacks=row["lacks"],
        why=row["why"],
        plug=bool(row.get("plug")),
    )


def _ratio(row: Mapping[str, Any]) -> Ratio:
    return Ratio(
        id=row["id"],
        of=read_kind(row["of"]),
        partner=read_kind(row["with"]),
        least=Decimal(row["least"]),
        most=Decimal(row["most"]),
        lacks=row["lacks"],
        why=row["why"],
    )


def companions(
    used: Sequence[Used],
    boxed: Sequence[Part] = (),
    *,
    dismissed: Collection[str] = (),
    rules: Rules | None = None,
) -> tuple[dict[str, str], ...]:
    """What the build might lack. `boxed`: parts that come in the box of a chosen listing.

    Answers `rule`, `part` (what asks for it), `lacks` and `why`; a rule once dismissed for
    the build (its id in `dismissed`) says nothing.
    """
    known = rules or builtin_rules()
    parts = [entry.part for entry in used]
    found = [
        row
        for rule in known.rules.values()
        if rule.id not in dismissed and (row := _lacking(rule, parts, [*parts, *boxed]))
    ]
    ratios = [r for r in known.ratios.values() if r.id not in dismissed]
    return (*found, *(row for ratio in ratios if (row := _too_little(ratio, used))))


def _lacking(rule: Rule, parts: Sequence[Part], have: Sequence[Part]) -> dict[str, str] | None:
    asking = [p for p in parts if rule.when.holds(p) and not rule.wants.holds(p)]
    if not asking or any(rule.wants.holds(part) for part in have):
        return None
    lacks = rule.lacks
    if rule.plug:
        plugs = _plugs(asking, parts)
        if plugs is None:
            return None
        lacks = lacks.format(own=plugs[0], other=plugs[1])
    return {"rule": rule.id, "part": asking[0].key, "lacks": lacks, "why": rule.why}


def _plugs(batteries: Sequence[Part], parts: Sequence[Part]) -> tuple[str, str] | None:
    """Of battery and controller, where they differ; None where one is not known."""
    own = [plug for part in batteries if (plug := spec_value(part, "plug"))]
    others = [plug for p in parts if CONTROLLER.holds(p) and (plug := spec_value(p, "plug"))]
    if not own or not others or own[0].casefold() in {plug.casefold() for plug in others}:
        return None
    return own[0], others[0]


def _too_little(ratio: Ratio, used: Sequence[Used]) -> dict[str, str] | None:
    """Only where the masses are known on the side that asks."""
    asking = [u for u in used if ratio.of.holds(u.part) and not ratio.partner.holds(u.part)]
    partners = [u for u in used if ratio.partner.holds(u.part)]
    mass = sum((u.grams for u in asking if u.grams is not None), Fraction(0))
    have = sum((u.grams for u in partners if u.grams is not None), Fraction(0))
    unknown = any(u.grams is None for u in partners)
    if not mass or unknown or have >= mass * Fraction(ratio.least):
        return None
    lacks = ratio.lacks.format(
        of=number_text(Decimal(round(mass))),
        least=number_text(Decimal(round(mass * Fraction(ratio.least)))),
        two=number_text(Decimal(round(mass * 2))),
        most=number_text(Decimal(round(mass * Fraction(ratio.most)))),
        have=number_text(Decimal(round(have))),
    )
    return {"rule": ratio.id, "part": asking[0].part.key, "lacks": lacks, "why": ratio.why}
