"""Which parts a rule of the data files speaks of: by goods class, words or specification."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.builds.specs import says
from service.model.catalogue import Part


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of part. A word ending in `*` may go on; several words stand side by side."""

    classes: frozenset[str] = frozenset()
    words: tuple[str, ...] = ()
    spec: tuple[str, ...] = ()
    without: tuple[str, ...] = ()

    def holds(self, part: Part) -> bool:
        """Whether the part is of this kind; its goods class decides before its name."""
        if self.classes & set(part.classes):
            return True
        text = text_of(part.key, part.name)
        if _found(self.without, text):
            return False
        return any(says(part, key) for key in self.spec) or _found(self.words, text)


def read_kind(row: Mapping[str, Any]) -> Kind:
    """A kind from a table of a data file."""
    return Kind(
        classes=frozenset(row.get("class", ())),
        words=tuple(row.get("words", ())),
        spec=tuple(row.get("spec", ())),
        without=tuple(row.get("not", ())),
    )


@lru_cache(maxsize=4096)
def text_of(key: str, name: str) -> str:
    """Key and name as lower-case words; hyphens of the key count as spaces."""
    return " ".join(f"{name} {key} {key.replace('-', ' ')}".casefold().split())


@lru_cache(maxsize=1024)
def _pattern(words: tuple[str, ...]) -> re.Pattern[str]:
    bodies = (re.escape(word.casefold()).replace(r"\*", r"\w*") for word in words)
    return re.compile(rf"(?<!\w)(?:{'|'.join(bodies)})(?!\w)")


def _found(words: tuple[str, ...], text: str) -> bool:
    return bool(words) and _pattern(words).search(text) is not None
