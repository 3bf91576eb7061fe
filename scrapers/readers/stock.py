"""Stock as the page tells it: words, class names, the button that orders."""

from __future__ import annotations

import re
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Evidence
from scrapers.readers import ordering
from scrapers.readers.dom import Doc, where
from scrapers.readers.onesize import named_beside, one_of_several
from scrapers.readers.places import Places, own_class
from scrapers.readers.pricelike import squeeze
from scrapers.readers.stockwords import GOOD, OUT, near_heading
from scrapers.texts import read_availability, says_few

_CLASS = (
    (
        re.compile(r"out-?of-?stock|sold-?out|not-?available|unavailable|no-?stock", re.IGNORECASE),
        Availability.OUT_OF_STOCK,
    ),
    (re.compile(r"pre-?order", re.IGNORECASE), Availability.PREORDER),
    (re.compile(r"back-?order", re.IGNORECASE), Availability.BACKORDER),
    (re.compile(r"low-?stock|stock-?low|few-?left", re.IGNORECASE), Availability.LOW_STOCK),
    (re.compile(r"in-?stock|available(?!-)|stock-?ok", re.IGNORECASE), Availability.IN_STOCK),
)  # fmt: skip
_CHOICE = frozenset({"button", "option", "label", "input"})  # its class tells of one size only
MAX_NODES = 200
MAX_TEXT = 90
MAX_VALUE = 80
NEAR_BUTTON = 2  # levels above the heading; lists of other goods hang further up


class Stock(NamedTuple):
    """What the page tells of stock; `mixed` where it tells of both some and none.

    `near`: False where only a button further off tells it, which may be that of another thing.
    """

    said: Availability = Availability.UNKNOWN
    proof: Evidence | None = None
    mixed: bool = False
    near: bool = True


class _Named(NamedTuple):
    """What one element named for stock tells; the nearest one counts, of equals the first."""

    level: int
    said: Availability
    proof: Evidence


def read(doc: Doc, places: Places) -> Stock:
    """The nearest stock word of the page's own matter; UNKNOWN where it says nothing."""
    found = _named(doc, places)
    button = ordering.nearest(doc, places)
    if not found:
        return _in_words(places, button)
    best = _last_pieces(min(found, key=lambda one: one.level), found)
    signs = {one.said in OUT for one in found} | ({button.said in OUT} if button.proof else set())
    return Stock(best.said, best.proof, mixed=len(signs) > 1)


def _last_pieces(best: _Named, found: list[_Named]) -> _Named:
    """Words on the last pieces say more than a plain "in stock" as near."""
    if best.said is not Availability.IN_STOCK:
        return best
    few = (one for one in found if one.said is Availability.LOW_STOCK and one.level <= best.level)
    return next((one for one in few if says_few(one.proof.value)), best)


def _named(doc: Doc, places: Places) -> list[_Named]:
    """What the elements say whose name tells of stock, those of single sizes left out."""
    found = []
    for node in doc.stocks[:MAX_NODES]:
        place = places.of(node)
        if place.zone in ("other", "hidden") or one_of_several(node):
            continue
        said, value = _of(node, squeeze(node.text(separator=" ")))
        if said is Availability.UNKNOWN or (said in OUT and named_beside(node, value)):
            continue
        proof = Evidence("visible", "availability", value[:MAX_VALUE], where(node))
        found.append(_Named(place.level, said, proof))
    return found


def _in_words(places: Places, button: ordering.Button) -> Stock:
    """What words near the heading tell, else the button alone."""
    words = near_heading(places)
    if words is None:
        return Stock(button.said, button.proof, near=button.level <= NEAR_BUTTON)
    said, proof = words
    if button.said is not Availability.IN_STOCK or said not in OUT:
        return Stock(said, proof)
    # a badge that a theme always prints may be hidden by its style sheet
    return Stock(Availability.UNKNOWN, proof, mixed=True)


def _of(node: LexborNode, text: str) -> tuple[Availability, str]:
    if text and len(text) <= MAX_TEXT:
        said = read_availability(text)
        if said is not None and said is not Availability.UNKNOWN:
            return (_somewhere(node) if said in OUT else None) or (said, text)
    if len(text) <= MAX_TEXT and node.tag not in _CHOICE:
        named = own_class(node)
        for pattern, said in _CLASS:
            if pattern.search(named):
                return said, text or named
    return Availability.UNKNOWN, ""


def _somewhere(node: LexborNode) -> tuple[Availability, str] | None:
    """Of a list of warehouses or shops the first one that has the goods."""
    texts = [squeeze(one.text(separator=" ")) for one in node.iter()]
    said = [(read_availability(text) or Availability.UNKNOWN, text) for text in texts if text]
    held = [one for one in said if one[0] in GOOD]
    best = next((one for one in held if one[0] is Availability.IN_STOCK), held[0] if held else None)
    return best if any(found in OUT for found, _ in said) else None
