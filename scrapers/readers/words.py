"""Word lists that are searched often: RE2 says at once where there is nothing, `re` tells where."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import re2

MAX_SHORT = 200
_LOOK = re.compile(r"\(\?<?[!=][^()]*\)")


def widened(pattern: str, *, case_blind: bool = False) -> Any:
    """A compiled RE2 pattern: found wherever `pattern` of `re` is (in plain blanks), and more."""
    options = re2.Options()
    options.case_sensitive = not case_blind
    options.log_errors = False
    wide = _LOOK.sub("", pattern).replace(r"\b", "").replace(r"\w", r"[\pL\pN_]")
    return re2.compile(wide.replace(r"\d", r"\pN"), options)


class Words:
    """A pattern of phrases, case-blind.

    RE2 first searches a wider pattern (no word edges, no look-around) in linear time;
    only a text that may match is searched again with the exact one.
    """

    __slots__ = ("_exact", "_short", "_wide")

    def __init__(self, pattern: str) -> None:
        self._wide = widened(pattern, case_blind=True)
        self._exact = re.compile(pattern, re.IGNORECASE)
        self._short = lru_cache(maxsize=1024)(self._found)

    def _found(self, text: str) -> bool:
        return self._wide.search(text) is not None

    def _may(self, text: str) -> bool:
        """Whether the exact pattern may match; pages say the same short things over and over."""
        return self._short(text) if len(text) <= MAX_SHORT else self._found(text)

    def search(self, text: str) -> re.Match[str] | None:
        return self._exact.search(text) if self._may(text) else None

    def match(self, text: str) -> re.Match[str] | None:
        return self._exact.match(text) if self._may(text) else None

    def finditer(self, text: str) -> Iterator[re.Match[str]]:
        return self._exact.finditer(text) if self._may(text) else iter(())
