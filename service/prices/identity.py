"""Does the page still sell what it sold? Identifiers, title, sold-as and specification."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scrapers import Ids, Reading

if TYPE_CHECKING:
    from collections.abc import Mapping

LIKE_ENOUGH = 0.4  # share of the shorter title's words that the other holds
_WORD = re.compile(r"[^\W_]+(?:[.,]\d+)*", re.UNICODE)
_FIGURE = re.compile(r"\d")


@dataclass(frozen=True, slots=True)
class Known:
    """What the page called itself when its price was last believed."""

    ids: Ids | None = None
    title: str | None = None
    sold_as: str | None = None
    spec: Mapping[str, str] | None = None


def other_identity(reading: Reading, known: Known) -> str | None:
    """Why the page seems to sell another thing now; None: nothing speaks for it.

    An identifier that still agrees outweighs a new title (shops rewrite them).
    """
    clash, same = _compare_ids(reading.ids, known.ids or Ids())
    if clash:
        return clash
    return (
        _other_sold_as(reading.sold_as, known.sold_as)
        or _other_spec(reading.spec, known.spec or {})
        or (None if same else _other_title(reading.title, known.title))
    )


def _compare_ids(now: Ids, before: Ids) -> tuple[str | None, bool]:
    """The first clash from the strongest identifier down, and whether one agrees."""
    for name in ("gtin", "mpn", "sku"):
        new, old = getattr(now, name), getattr(before, name)
        if not new or not old:
            continue
        if _plain(new, name) == _plain(old, name):
            return None, True
        return f"the page names another {name.upper()}: {new}, before {old}", False
    return None, False


def _plain(value: str, name: str) -> str:
    plain = "".join(c for c in value.casefold() if c.isalnum())
    return plain.lstrip("0") if name == "gtin" else plain  # GTIN-12, -13 and -14 differ in zeros


def _other_sold_as(now: str | None, before: str | None) -> str | None:
    if now and before and _words(now) != _words(before):
        return f'sold as "{now}", before "{before}"'
    return None


def _other_spec(now: Mapping[str, str], before: Mapping[str, str]) -> str | None:
    for key in sorted(now.keys() & before.keys()):
        if _words(now[key]) != _words(before[key]):
            return f"{key} is {now[key]}, before {before[key]}"
    return None


def _other_title(now: str | None, before: str | None) -> str | None:
    if not now or not before:
        return None
    new, old = set(_words(now)), set(_words(before))
    if not new or not old or new == old:
        return None
    changed = f'the page calls itself "{now}", before "{before}"'
    if len(new & old) < LIKE_ENOUGH * min(len(new), len(old)):
        return changed
    return changed if _figures_clash(new, old) else None


def _figures_clash(new: set[str], old: set[str]) -> bool:
    """Each title holds a figure that the other lacks: another size, not a longer title."""
    figures = [{word for word in words if _FIGURE.search(word)} for words in (new - old, old - new)]
    return all(figures)


def _words(text: str) -> list[str]:
    return [word.replace(",", ".") for word in _WORD.findall(text.casefold())]
