"""Elements that hold a price text: the innermost, split prices whole, with their words around."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.readers.places import Place, Places
from scrapers.readers.pricelike import (
    AMOUNT,
    CURRENCY,
    MAX_SHORT,
    PRICE_LIKE,
    is_price_like,
    squeeze,
)
from scrapers.readers.split import (
    CLEAN,
    TWO_DIGITS,
    WHOLE,
    Run,
    ends_in_cents,
    is_cents,
    joined,
    price_text,
    split_in,
)

MAX_TEXT = 160
MAX_LEAVES = 120
ENOUGH = 4  # amounts of other things: more of them tell no more
_DIGIT = re.compile(r"\d")
_WORD = re.compile(r"[^\W\d_]{5}")
_FRAGMENT = re.compile(r"[\d.,'’\s\u00a0\u202f]{1,15}(?:,?[-–—])?\Z")
_LISTS = frozenset({"table", "tbody", "tr", "ul", "ol", "dl"})
_MARKED_UP = frozenset({"lowPrice", "highPrice", "price"})


class Leaf(NamedTuple):
    """An element that holds a price text, with its place."""

    node: LexborNode
    place: Place
    raw: str
    own: bool = False  # only the text directly in the element; its children are leaves too
    line: bool = False  # one of the lines of the element, with all its words
    split: bool = False  # the pieces of one price among the element's children, blanks between


def leaves(
    nodes: list[LexborNode], places: Places, *, plain: bool = False
) -> tuple[list[Leaf], int]:
    """Innermost elements with a price text; fragments of one price give way to their parent.

    Beside them how many stand in zones of other things, counted up to `ENOUGH`.
    """
    kept: list[Leaf] = []
    inside: dict[int, list[int]] = {}
    elsewhere = 0
    for node in reversed(nodes[: MAX_LEAVES * 30]):
        aside = elsewhere >= ENOUGH and not plain and places.of(node).zone == "other"
        raw = "" if aside else node.text()
        if len(raw) > 2_000 or not _DIGIT.search(raw) or _is_list(node):
            continue
        if plain and not is_price_like(squeeze(raw)):
            continue
        place = places.of(node)
        if place.zone == "other":
            elsewhere += 1
            continue
        # what microdata has read is no plain text, and what lies around it is its label
        text = "" if plain and _marked(node) else squeeze(raw)
        held = inside.get(node.mem_id)
        own = len(text) > MAX_TEXT or node.mem_id in places.above or _holds_list(node)
        inner = kept[held[0]].raw if held else text
        whole = CLEAN.match(inner) and (inner is text or not _DIGIT.search(text.replace(inner, "")))
        run = None if whole else _run(node, kept, held, struck=place.struck)
        if run is not None:
            own = own or run.beside
            text = run.text if own else text
        else:
            text, own = _told_by(node, kept, held, text, own=own)
        for n in () if own or not held else held:
            kept[n] = kept[n]._replace(raw="")
        if (own or plain) and text and not is_price_like(text):
            continue
        if len(text) <= MAX_TEXT:
            _cover(inside, node, len(kept), places)
            kept.append(Leaf(node, place, text, own, split=run is not None and own))
    return [leaf for leaf in reversed(kept) if leaf.raw][:MAX_LEAVES], elsewhere


def _is_list(node: LexborNode) -> bool:
    """Rows of amounts, which are read cell by cell."""
    return node.tag in _LISTS and len(PRICE_LIKE.findall(node.text(separator=" "))) > 1


def _holds_list(node: LexborNode) -> bool:
    """A drop-down list in the element: its choices are no text that a visitor sees."""
    return node.child is not None and node.css_first("select") is not None


def _marked(node: LexborNode) -> bool:
    attrs = node.attributes
    return not _MARKED_UP.isdisjoint((attrs.get("itemprop"), attrs.get("property")))


def _fragments(kept: list[Leaf], held: list[int], text: str) -> bool:
    """Whether the inner texts are pieces ("12", "95") of the one price in `text`."""
    inner = [kept[n] for n in reversed(held) if kept[n].raw]
    if len(text) > 40 or not inner:
        return False
    if any(leaf.place.zone == "hidden" for leaf in inner):
        return False
    if len({leaf.place.struck for leaf in inner}) > 1 or _WORD.search(text):
        return False  # two prices, or a label between them
    if WHOLE.match(inner[0].raw) and ends_in_cents(
        inner[0].node, {leaf.node.mem_id for leaf in inner[1:]}
    ):
        return True
    if any(_LONG.search(leaf.raw) and not is_cents(leaf.node) for leaf in inner[1:]):
        return False  # another price, not the cents of the first
    bare = all(_FRAGMENT.match(leaf.raw) for leaf in inner)
    cents = len(inner) > 1 or is_cents(inner[0].node)
    return bare and bool(CURRENCY.search(text) or cents) and len(AMOUNT.findall(text)) <= 2


_LONG = re.compile(r"\d\D?\d\D?\d|\d[,:][-–—]")


def _told_by(
    node: LexborNode, kept: list[Leaf], held: list[int] | None, text: str, *, own: bool
) -> tuple[str, bool]:
    """The element's whole text, or the one directly in it where its children tell their own.

    A copy for screen readers beside the pieces of a price is neither.
    """
    if not own and (held is None or _fragments(kept, held, text)):
        return text, False
    pieces = [n for n in ([] if own or held is None else held) if kept[n].place.zone != "spoken"]
    inner = [kept[n].raw for n in pieces if kept[n].raw]
    if len(inner) > 1 and all(_FRAGMENT.match(raw) for raw in inner):
        text = price_text(node)
        if _fragments(kept, pieces, text):
            return text, False
    return squeeze(node.text(deep=False)), True


def _run(node: LexborNode, kept: list[Leaf], held: list[int] | None, *, struck: bool) -> Run | None:
    """The price whose whole part and cents are children of the element, one with the mark.

    The leaves of those children give way to it. `struck`: whether all of it is.
    """
    run = split_in(node) if node.child is not None and node.child.next is not None else None
    if run is None:
        return None
    pieces = [n for n in held or () if kept[n].node.mem_id in run.nodes]
    if any(kept[n].place.struck is not struck or kept[n].place.zone for n in pieces):
        return None
    for n in pieces:
        kept[n] = kept[n]._replace(raw="")
    return run


def _cover(inside: dict[int, list[int]], node: LexborNode, number: int, places: Places) -> None:
    at, climbed = node.parent, 0
    while at is not None and at.mem_id not in places.above and climbed < 12:
        inside.setdefault(at.mem_id, []).append(number)
        at, climbed = at.parent, climbed + 1


def own_text(leaf: Leaf) -> str:
    """The text directly in the leaf, with what belongs to it in its midst: cents, a linked word."""
    if leaf.split:
        return joined(leaf.raw.split())
    parts: list[str] = []
    for child in leaf.node.iter(include_text=True):
        text = squeeze(child.text())
        cents = TWO_DIGITS.match(text) and is_cents(child)
        word = child.tag == "a" and len(text) <= MAX_SHORT and not _DIGIT.search(text)
        if text and (child.is_text_node or cents or word):
            parts.append(text)
    return joined(parts) if len(parts) > 1 and not leaf.line else leaf.raw
