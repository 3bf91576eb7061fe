"""Choices beside each other, one of them chosen: labels, buttons, items that name prices."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal

from selectolax.lexbor import LexborNode

from scrapers.readers import labels
from scrapers.readers.choicetext import MAX_TEXT, priced_choice
from scrapers.readers.claims import Seen
from scrapers.readers.dom import Doc
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze

MAX_NODES = 200
MAX_ITEMS = 60
_CHIPS = frozenset({"label", "button"})
_MARKED = re.compile(
    r"(?:^|[\s_-])(?:active|selected|checked|current|chosen|on)(?=$|\s)|"
    r"(?-i:[a-z]Select(?:ed)?)(?=$|\s)",
    re.IGNORECASE,
)
_DIGIT = re.compile(r"\d")
_SAID = ("aria-checked", "aria-pressed", "aria-selected", "aria-current")


def prices(
    doc: Doc,
    places: Places,
    seen: Iterable[Seen],
    locale: str | None,
    currency: str | None,
    now: Decimal,
) -> frozenset[Decimal]:
    """The prices of the choices beside the one that costs `now`, with it; empty where none.

    The chosen one may name its price or leave it to the price of the page. `seen`: the amounts
    in sight.
    """
    nodes = (*doc.buttons[:MAX_NODES], *doc.labels[:MAX_NODES])
    held = [n for n in nodes if n.tag in _CHIPS]
    numbered = any(_DIGIT.search(n.text()) for n in held)  # mostly no button holds a number
    own = _groups(held) if numbered else []
    groups = [g for g in own if all(_is_own(n, places) for n in g)]
    amounts = (_amounts(g, locale, currency, now) for g in (*groups, *_rows(seen)))
    return frozenset(price for found in amounts for price in found)


def _is_own(node: LexborNode, places: Places) -> bool:
    return places.of(node).zone not in ("other", "hidden")


def _rows(seen: Iterable[Seen]) -> list[list[LexborNode]]:
    """Items of a list with an amount in sight each, just one of which is marked."""
    items = (s.node.parent for s in seen if s.node is not None and s.node.parent is not None)
    lists = {n.parent.mem_id: n.parent for n in items if n.tag == "li" and n.parent is not None}
    rows = [[one for one in node.iter() if one.tag == "li"] for node in lists.values()]
    few = [row for row in rows if 1 < len(row) <= MAX_ITEMS]
    return [row for row in few if sum(map(_is_marked, row)) == 1]


def _groups(nodes: Iterable[LexborNode]) -> list[list[LexborNode]]:
    """Nodes that share a parent, or whose parents do where each holds but one of them."""
    by_parent: dict[int, list[LexborNode]] = defaultdict(list)
    for node in nodes:
        if node.parent is not None:
            by_parent[node.parent.mem_id].append(node)
    wide: dict[int, list[LexborNode]] = defaultdict(list)
    for held in by_parent.values():
        outer = held[0].parent.parent if len(held) == 1 and held[0].parent is not None else None
        if outer is not None:
            wide[outer.mem_id] += held
    groups = (*by_parent.values(), *wide.values())
    return [held for held in groups if 1 < len(held) <= MAX_ITEMS]


def _amounts(
    group: list[LexborNode], locale: str | None, currency: str | None, now: Decimal
) -> set[Decimal]:
    texts = [squeeze(node.text(separator=" ")[: 2 * MAX_TEXT]) for node in group]
    if any(labels.MEMBER.search(text) or labels.ONCE.search(text) for text in texts):
        return set()  # once or again and again: ways to buy the same thing
    made = [priced_choice(text, locale, currency) for text in texts]
    amounts = {one.price for one in made if one is not None and one.price is not None}
    silent = [node for node, one in zip(group, made, strict=True) if one is None]
    if not amounts or len(silent) > 1:
        return set()
    known = _is_marked(silent[0]) if silent else now in amounts
    return amounts | {now} if known else set()


def _is_marked(node: LexborNode) -> bool:
    said = any(node.attributes.get(name) == "true" for name in _SAID)
    named = _MARKED.search(node.attributes.get("class") or "") is not None
    return said or named or _is_ticked(node)


def _is_ticked(label: LexborNode) -> bool:
    """Whether the box in the label, right before it, or of the name it is for, is ticked."""
    before = label.prev
    while before is not None and not before.is_element_node:
        before = before.prev
    boxes = (label.css_first("input[checked]"), before)
    return any(one is not None and "checked" in one.attributes for one in boxes)
