"""Whether two titles name one thing: by their words, whatever their order."""

from __future__ import annotations

import re

_WORD = re.compile(r"\w+")
_NAMING = re.compile(r"[^\W\d_]{3,}")  # no measure: "3 mm" and "6 mm" make no kin
ENOUGH = 0.75  # of the shorter title's words


def words(title: str | None) -> list[str]:
    return _WORD.findall((title or "").casefold())


def alike(one: str | None, other: str | None) -> bool:
    """Whether two titles name the same thing: most words of the shorter stand in the longer."""
    if not one or not other:
        return False
    a, b = set(words(one)), set(words(other))
    small = min(len(a), len(b))
    return small > 0 and len(a & b) / small >= ENOUGH


def akin(one: str, other: str) -> bool:
    """Whether two titles share a word; without letters on one side nothing can be said."""
    a, b = set(words(one)), set(words(other))
    return not a or not b or bool(a & b)


def naming(title: str | None) -> set[str]:
    """The words that name a thing, measures and short words left out."""
    return set(_NAMING.findall((title or "").casefold()))
