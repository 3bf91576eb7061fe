"""What a line may ask for instead of a part, and which parts meet it.

A requirement is a mapping of specification keys to what is wanted: a value
(`cells = 4`), a range (`capacity_mAh = "3000..3600"`, either end may be left out) or
several values (`plug = "XT60 | XT90"`). Numbers compare as numbers, words without case.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation

from service.builds.specs import spec_value
from service.model.catalogue import Part

_RANGE = re.compile(r"^\s*(?P<low>[-\d.]*?)\s*\.\.\s*(?P<high>[-\d.]*)\s*(?P<unit>\S*)\s*$")
_NUMBER = re.compile(r"^\s*([-+]?\d+(?:\.\d+)?)\s*([^\d\s].*)?$")


def number(text: str) -> tuple[Decimal, str] | None:
    """`"11.1 V"` -> (11.1, "v"); None where the text is no number."""
    found = _NUMBER.match(text)
    if found is None:
        return None
    return Decimal(found[1]), (found[2] or "").strip().casefold()


def _end(text: str) -> Decimal | None:
    try:
        return Decimal(text) if text else None
    except InvalidOperation:
        return None


def value_meets(have: str, want: str) -> bool:
    """Whether one specification value answers what is wanted of it."""
    if "|" in want:
        return any(value_meets(have, one) for one in want.split("|"))
    span = _RANGE.match(want)
    given = number(have)
    if span and (span["low"] or span["high"]):
        return given is not None and _within(given[0], _end(span["low"]), _end(span["high"]))
    asked = number(want)
    if asked and given:
        return asked[0] == given[0] and (not asked[1] or not given[1] or asked[1] == given[1])
    return have.strip().casefold() == want.strip().casefold()


def _within(value: Decimal, low: Decimal | None, high: Decimal | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def meets(part: Part, need: Mapping[str, str]) -> bool:
    """Whether the part's specification answers all that is asked; silence answers nothing.

    The key `class` asks for a goods class, every other for a specification value.
    """
    return all(
        want in part.classes if key == "class" else _says_so(spec_value(part, key), want)
        for key, want in need.items()
    )


def _says_so(have: str | None, want: str) -> bool:
    return have is not None and value_meets(have, want)


def parts_meeting(parts: Iterable[Part], need: Mapping[str, str]) -> list[Part]:
    """The parts that meet the requirement, in the order given; an empty one is met by none."""
    return [part for part in parts if need and meets(part, need)]


def need_text(need: Mapping[str, str]) -> str:
    """The requirement as a person reads it: `capacity_mAh 3000..3600, cells 4`."""
    return ", ".join(f"{key} {value}" for key, value in sorted(need.items()))


def successors(part: Part, parts: Mapping[str, Part]) -> list[tuple[Part, str]]:
    """The parts named as its equivalents from either side, each with the remark."""
    found = {e.part: e.note for e in part.equivalents if e.part in parts}
    for other in parts.values():
        back = [e.note for e in other.equivalents if e.part == part.key and not e.one_way]
        if back:
            found.setdefault(other.key, back[0])
    return [(parts[key], note) for key, note in found.items()]
