"""Templates whose contents a visitor sees, which parsers put aside.

Declarative shadow trees; and those that a script shows for as long as no choice has brought
another price: `x-if="!chosenPrice"`.
"""

from __future__ import annotations

import re

_MARKS = ("shadowrootmode", "x-if=")
_BYTES = tuple(mark.encode() for mark in _MARKS)
_SHOWN = re.compile(
    r"\bshadowrootmode\b|\bx-if\s*=\s*[\"']\s*![^\"'&|=]*price[^\"'&|=]*[\"']", re.IGNORECASE
)
_TAGS = re.compile(r"<template\b([^<>]*)>|</template\s*>", re.IGNORECASE)


def has_templates(page: str | bytes) -> bool:
    """Whether the page may have such templates: a search that most pages need only."""
    if isinstance(page, bytes):
        return any(mark in page for mark in _BYTES)
    return any(mark in page for mark in _MARKS)


def opened(html: str) -> str:
    """The page with each such template as a plain element; other templates stay what they are.

    Light children that fill the slots of the tree follow behind it.
    """
    kinds: list[bool] = []

    def plain(found: re.Match[str]) -> str:
        attrs = found[1]
        if attrs is not None:
            kinds.append(_SHOWN.search(attrs) is not None)
            return "<div>" if kinds[-1] else found[0]
        return "</div>" if kinds and kinds.pop() else found[0]

    return _TAGS.sub(plain, html)
