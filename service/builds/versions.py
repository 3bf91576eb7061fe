"""Versions: a build derived from another with parts or amounts replaced, side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from service.errors import InputError
from service.model.builds import Alternative, Build, Line, Replacement


def resolve(build: Build, builds: Mapping[str, Build]) -> Build:
    """The build with the lines of its base taken over. InputError names what is wrong.

    Replacements apply in order to every line of the old part; lines that the version
    writes itself are added behind. Hours and their rate are the base's where it says none.
    """
    return _resolve(build, builds, (build.key,))


def _resolve(build: Build, builds: Mapping[str, Build], seen: tuple[str, ...]) -> Build:
    if build.base is None:
        return build
    if build.base in seen:
        raise InputError(f"builds derive from each other in a circle: {' -> '.join(seen)}")
    base = builds.get(build.base)
    if base is None:
        raise InputError(f"build '{build.key}' derives from '{build.base}', which does not exist")
    found = _resolve(base, builds, (*seen, base.key))
    lines = list(found.lines)
    for change in build.replace:
        lines = _replaced(lines, change, build.key)
    return replace(
        build,
        lines=(*lines, *build.lines),
        base=None,
        replace=(),
        hours=found.hours if build.hours is None else build.hours,
        labour_rate=build.labour_rate or found.labour_rate,
    )


def _replaced(lines: list[Line], change: Replacement, build: str) -> list[Line]:
    if not any(change.old in _parts_of(line) for line in lines):
        raise InputError(f"build '{build}' replaces '{change.old}', which its base does not use")
    return [
        _line(line, change) if change.old in _parts_of(line) else line
        for line in lines
        if line.part != change.old or not _removes(change)
    ]


def _parts_of(line: Line) -> set[str | None]:
    return {line.part, *(way.part for way in line.choose)}


def _removes(change: Replacement) -> bool:
    """Neither another part nor another amount: the line falls away."""
    return change.new is None and change.amount is None


def _line(line: Line, change: Replacement) -> Line:
    """The line with the new part or amount; a listing fixed for the old part no longer holds."""
    new = change.new or (None if _removes(change) else change.old)
    if line.part != change.old:
        kept = [_way(way, change, new) for way in line.choose if way.part != change.old or new]
        return replace(line, choose=tuple(kept))
    listing = line.listing if new == change.old else None
    return replace(line, part=new, amount=change.amount or line.amount, listing=listing)


def _way(way: Alternative, change: Replacement, new: str | None) -> Alternative:
    if way.part != change.old or new is None:
        return way
    return Alternative(new, change.amount or way.amount)
