"""What lies in boxes of other things: in cards, beside headings of their own, above the page."""

from __future__ import annotations

from collections.abc import Callable

from selectolax.lexbor import LexborNode

from scrapers.readers.cards import is_card, is_entry, is_headed_aside
from scrapers.readers.context import in_basket
from scrapers.readers.leaves import Leaf
from scrapers.readers.places import Places

MAX_UP = 8  # levels from an amount to the box it lies in


class Boxes:
    """Asks for each element around an amount once whether it is a box of other things."""

    def __init__(self, places: Places) -> None:
        self._places = places
        self._cards: dict[int, bool] = {}
        self._entries: dict[int, bool] = {}
        self._headed: dict[int, bool] = {}

    def in_card(self, node: LexborNode, *, plain: bool) -> bool:
        """Inside one of several like boxes, each with a picture, a link and an amount.

        `plain`: or with a title each, as lists of plain text show other things.
        """
        if plain:
            return self._inside(node, self._entries, _is_card_or_entry)
        return self._inside(node, self._cards, is_card)

    def aside(self, node: LexborNode) -> bool:
        """Inside a box whose heading speaks of other things."""
        return self._inside(node, self._headed, is_headed_aside)

    def above_all(self, leaf: Leaf) -> bool:
        """Before the heading and sharing no more than the body with it: the basket, a banner."""
        if leaf.place.level < self._places.body or not self._places.ahead(leaf.node):
            return False
        return self._places.body > 1 or in_basket(leaf.node)

    def _inside(
        self, node: LexborNode, known: dict[int, bool], is_box: Callable[[LexborNode], bool]
    ) -> bool:
        at, climbed = node.parent, 0
        while at is not None and at.mem_id not in self._places.above and climbed < MAX_UP:
            key = at.mem_id
            if key not in known:
                known[key] = is_box(at)
            if known[key]:
                return True
            at, climbed = at.parent, climbed + 1
        return False


def _is_card_or_entry(node: LexborNode) -> bool:
    return is_card(node) or is_entry(node)
