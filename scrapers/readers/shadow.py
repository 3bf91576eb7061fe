"""Declarative shadow trees: a visitor sees what stands in such templates, parsers put it aside."""

from __future__ import annotations

import re

MARK = "shadowrootmode"
_TAGS = re.compile(r"<template\b([^<>]*)>|</template\s*>", re.IGNORECASE)


def opened(html: str) -> str:
    """The page with each such template as a plain element; other templates stay what they are.

    Light children that fill the slots of the tree follow behind it.
    """
    kinds: list[bool] = []

    def plain(found: re.Match[str]) -> str:
        attrs = found[1]
        if attrs is not None:
            kinds.append(MARK in attrs.lower())
            return "<div>" if kinds[-1] else found[0]
        return "</div>" if kinds and kinds.pop() else found[0]

    return _TAGS.sub(plain, html)
