"""Commands on a build's parts list. Each is one transaction that happens whole or not at all."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Literal

from scrapers import Amount, UnitError, parse_amount
from service.errors import InputError, NotFoundError
from service.flows.ports import Deps, Unit
from service.flows.react import react
from service.model.book import Book
from service.model.builds import Build, Counts, Line, Replacement
from service.model.catalogue import Part
from service.model.deals import Target
from service.model.money import Money, parse_currency, parse_decimal

MOST_LINES = 2000
BULK = {"g": "kg", "ml": "l"}  # what people price such parts by
Kind = Literal["part", "build"]


def slug(name: str, taken: Collection[str]) -> str:
    """A free catalogue key for a name."""
    base = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60] or "build"
    return next(k for k in (base, *(f"{base}-{n}" for n in range(2, 10_000))) if k not in taken)


def new_build(deps: Deps, name: str, currency: str, budget: str, need_by: str) -> str:
    """A build without lines; answers its key."""
    if not name.strip():
        raise InputError("name: what do you call the model?")
    with deps.store.write() as unit:
        key = slug(name, unit.catalogue.builds())
        money = parse_currency(currency.strip().upper() or deps.currency)
        made = Build(key, name.strip()[:200], money, (), _budget(budget), _day(need_by))
        unit.catalogue.save(Book(builds=(made,)), now=deps.clock())
        return key


def change_build(deps: Deps, key: str, name: str, budget: str, need_by: str) -> None:
    """Its name, budget and day."""
    with deps.store.write() as unit:
        old = _need(unit, key)
        new = replace(
            old,
            name=name.strip()[:200] or old.name,
            budget=_budget(budget),
            need_by=_day(need_by),
        )
        unit.catalogue.save(Book(builds=(new,)), now=deps.clock())


def _need(unit: Unit, key: str) -> Build:
    found = unit.catalogue.build(key)
    if found is None:
        raise NotFoundError(f'no build "{key}"')
    return found


def _budget(text: str) -> Decimal | None:
    text = text.strip().replace(",", ".")
    if not text:
        return None
    value = parse_decimal(text, f'budget "{text}" is not an amount: write it like 420.00')
    if value <= 0 or value >= 10**12:
        raise InputError("budget: more than nothing, please")
    return value


def _day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f'"{text}" is not a day: write it like 2027-03-15') from None


def read_amount(text: str, part: Part) -> Amount:
    """`"0.3 m2"`; a bare number is of the part's own unit."""
    text = text.strip()
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]+)?", text):
        text = f"{text} {part.unit}"
    try:
        found = parse_amount(text)
    except UnitError as error:
        raise InputError(f"amount: {error}") from None
    if found.value <= 0:
        raise InputError(f'amount "{text}": more than nothing, please')
    return found


def add_line(deps: Deps, key: str, part: str, amount: str, group: str) -> None:
    """A part of the catalogue as a new line at the end of its group."""
    with deps.store.write() as unit:
        build = _need(unit, key)
        parts = unit.catalogue.parts()
        found = _part_named(part, parts)
        if found is None:
            raise NotFoundError(f'no part "{part}": add a page that sells it first')
        line = Line(read_amount(amount, found), _group(group), found.key)
        _save_lines(unit, deps, build, [*build.lines, line])


def add_companion(deps: Deps, key: str, part: str, amount: str, group: str) -> None:
    """A line for what the build lacks; a part that is not known is made, without a price."""
    with deps.store.write() as unit:
        build, parts = _need(unit, key), unit.catalogue.parts()
        found = _part_named(part, parts) or _made_part(part, amount, parts)
        line = Line(read_amount(amount, found), _group(group), found.key)
        if found.key not in parts:
            unit.catalogue.save(Book(parts=(found,)), now=deps.clock())
        _save_lines(unit, deps, build, [*build.lines, line])


def _made_part(name: str, amount: str, taken: Collection[str]) -> Part:
    name = " ".join(name.split())[:200]
    if not name:
        raise InputError("what do you call it?")
    wanted = read_amount(amount, Part("", "", "piece"))
    unit = {"kg": "g", "l": "ml", "cm": "m", "mm": "m", "cm2": "m2"}.get(wanted.unit, wanted.unit)
    return Part(slug(name, taken), name, unit)


def _group(text: str) -> str:
    return " ".join(text.split())[:60] or "other"


def _save_lines(unit: Unit, deps: Deps, build: Build, lines: Sequence[Line]) -> None:
    if len(lines) > MOST_LINES:
        raise InputError(f"a build holds at most {MOST_LINES} lines")
    changed = replace(build, lines=tuple(lines))
    unit.catalogue.save(Book(builds=(changed,)), now=deps.clock())


def change_line(
    deps: Deps, key: str, number: int, act: str, amount: str, group: str, counts: str
) -> None:
    """`act`: keep (amount, group, counts), up, down or remove. `number` counts from 0."""
    with deps.store.write() as unit:
        build = _need(unit, key)
        lines = list(build.lines)
        if not 0 <= number < len(lines):
            raise NotFoundError("this line is no longer there: load the page again")
        if act == "remove":
            del lines[number]
        elif act in ("up", "down"):
            _move(lines, number, -1 if act == "up" else 1)
        else:
            lines[number] = _changed(unit, lines[number], amount, group, counts)
        _save_lines(unit, deps, build, lines)


def _move(lines: list[Line], number: int, step: int) -> None:
    """Past the next line of the same group, so that it moves where it is seen to move."""
    other = number + step
    while 0 <= other < len(lines) and lines[other].group != lines[number].group:
        other += step
    if 0 <= other < len(lines):
        lines.insert(other, lines.pop(number))


def _changed(unit: Unit, line: Line, amount: str, group: str, counts: str) -> Line:
    part = unit.catalogue.parts().get(line.part or "") or Part("", "", line.amount.unit)
    return replace(
        line,
        amount=read_amount(amount, part) if amount.strip() else line.amount,
        group=_group(group) if group.strip() else line.group,
        counts=_counts(counts) if counts.strip() else line.counts,
    )


def _counts(text: str) -> Counts:
    match = re.fullmatch(r"(share|whole|owned|stock|tool)|shared ([1-9][0-9]{0,2})", text.strip())
    if match is None:
        raise InputError('counts: share, whole, owned, stock, tool or "shared 6"')
    if match[2]:
        return Counts("shared", int(match[2]))
    return Counts(match[1])  # type: ignore[arg-type]  # the pattern lets only these kinds through


def dismiss(deps: Deps, key: str, rule: str) -> None:
    """The build does not need what this rule asks for; it is not said again."""
    with deps.store.write() as unit:
        _need(unit, key)
        name = f"dismissed.{key}"
        gone = {*json.loads(unit.setting(name) or "[]"), rule[:120]}
        unit.set_setting(name, json.dumps(sorted(gone)[:500]))


def _part_named(text: str, parts: Mapping[str, Part]) -> Part | None:
    """By key, or by name as people write it."""
    if text in parts:
        return parts[text]
    plain = " ".join(text.casefold().split())
    return next((p for p in parts.values() if p.name.casefold() == plain), None) if plain else None


def new_version(deps: Deps, base: str, name: str, old: str, new: str) -> str:
    """The build with one part replaced by another; answers its key."""
    with deps.store.write() as unit:
        build, parts = _need(unit, base), unit.catalogue.parts()
        if old not in parts or new not in parts or old == new:
            raise InputError("choose a part of the build and another one for it")
        key = slug(name or f"{base} {new}", unit.catalogue.builds())
        change = (Replacement(old, new),)
        made = Build(key, name.strip() or key, build.currency, base=build.key, replace=change)
        unit.catalogue.save(Book(builds=(made,)), now=deps.clock())
        return key


def set_target(deps: Deps, kind: Kind, subject: str, value: str) -> None:
    """Tell me when one unit of the part, or what the build takes up, costs at most so much.

    The key is that of catalogue files, so a changed threshold stays one target.
    """
    with deps.store.write() as unit:
        part = unit.catalogue.parts().get(subject) if kind == "part" else None
        if kind == "part" and part is None:
            raise NotFoundError(f'no part "{subject}"')
        limit = limit_of(value, deps.currency if part else _need(unit, subject).currency)
        target = _target(kind, subject, limit, BULK.get(part.unit) if part else None)
        unit.catalogue.save(Book(targets=(target,)), now=deps.clock())
        react(unit, deps, {x.id for x in unit.catalogue.listings()}, at=deps.clock())


def set_need_target(deps: Deps, need: Mapping[str, str], value: str) -> None:
    """Tell me when any part whose specification meets `need` costs at most so much."""
    if not need:
        raise InputError("say what the parts must have first, for example 4 cells")
    subject = " ".join(f"{name}={need[name]}" for name in sorted(need))
    limit = limit_of(value, deps.currency)
    key = f"need:{subject}:at_or_below"
    target = Target(key, "need", subject, at_or_below=limit, need=dict(need))
    with deps.store.write() as unit:
        unit.catalogue.save(Book(targets=(target,)), now=deps.clock())
        react(unit, deps, {x.id for x in unit.catalogue.listings()}, at=deps.clock())


def _target(kind: Kind, subject: str, limit: Money, per: str | None) -> Target:
    """Per piece, metre..., or of what is counted in g and ml per kg and l."""
    if per is None:
        return Target(f"{kind}:{subject}:at_or_below", kind, subject, at_or_below=limit)
    key = f"{kind}:{subject}:unit_at_or_below"
    return Target(key, kind, subject, unit_at_or_below=limit, per=per)


def limit_of(value: str, currency: str) -> Money:
    """`"38.00"` or `"38.00 EUR"` as a threshold. InputError."""
    text = value.strip().replace(",", ".")
    number, _, code = text.partition(" ")
    hint = f'"{value}" is not a price: write it like 38.00'
    limit = parse_decimal(number, hint)
    if limit <= 0 or limit >= 10**12:
        raise InputError(hint)
    return Money(limit, parse_currency(code) if code else currency)
