"""Word lists that are searched often: RE2 says at once where there is nothing, `re` tells where."""

from __future__ import annotations

import re
from collections.abc import Iterator

import re2

_LOOK = re.compile(r"\(\?<?[!=][^()]*\)")


class Words:
    """A pattern of phrases, case-blind.

    RE2 first searches a wider pattern (no word edges, no look-around) in linear time;
    only a text that may match is searched again with the exact one.
    """

    __slots__ = ("_exact", "_wide")

    def __init__(self, pattern: str) -> None:
        options = re2.Options()
        options.case_sensitive = False
        options.log_errors = False
        wide = _LOOK.sub("", pattern).replace(r"\b", "").replace(r"\w", r"[\pL\pN_]")
        self._wide = re2.compile(wide, options)
        self._exact = re.compile(pattern, re.IGNORECASE)

    def search(self, text: str) -> re.Match[str] | None:
        return self._exact.search(text) if self._wide.search(text) else None

    def match(self, text: str) -> re.Match[str] | None:
        return self._exact.match(text) if self._wide.search(text) else None

    def finditer(self, text: str) -> Iterator[re.Match[str]]:
        return self._exact.finditer(text) if self._wide.search(text) else iter(())
