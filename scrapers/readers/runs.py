"""Amounts that belong together: a row of quantity prices, the two ends of a range."""

from __future__ import annotations

from scrapers.model import PriceText
from scrapers.readers.context import BUY_FOR, FOR_ONE, TIER_BEFORE, end_of_range
from scrapers.readers.labelled import Labelled
from scrapers.readers.leaves import Leaf
from scrapers.readers.pricelike import AMOUNT, CURRENCY
from scrapers.readers.sums import DASHED, TO_AHEAD, UPPER_BEHIND

_CELLS = frozenset({"td", "th", "dd", "li", "div", "span"})
_ROWS = frozenset({"li", "tr", "dl"})  # elsewhere the quantity stands in a cell of its own


def least(before: str) -> int | None:
    """From how many pieces on the amount after these words holds; None for "free from 75 €"."""
    found = TIER_BEFORE.search(before) or BUY_FOR.search(before)
    if found is None or CURRENCY.search(before[found.end(found.lastindex or 0) :]):
        return None
    return int(found[found.lastindex or 0])


class Rows:
    """Knows the row of quantity prices that the amount before stood in."""

    def __init__(self) -> None:
        self._row = -1

    def kind(self, one: Labelled, kind: str) -> str:
        """In a row of quantity prices: that of one piece is the price, what follows a sum."""
        cell, row = one.leaf.node.tag in _CELLS, _row_of(one.leaf, kind)
        if kind == "tier":
            if cell and FOR_ONE.search(one.before):
                return "now"
            self._row = row
        elif row and row == self._row and cell and kind in ("now", "gross", "net"):
            return "other"
        return kind


def _row_of(leaf: Leaf, kind: str) -> int:
    """The element that holds the row; 0 where one cell tells quantity and price."""
    outer = leaf.node.parent
    if outer is None:
        return 0
    one_cell = outer.tag not in _ROWS and len(AMOUNT.findall(leaf.raw)) > 1
    return 0 if kind == "tier" and one_cell else outer.mem_id


class Ranges:
    """Knows whether a range has begun whose upper end stands in an element of its own."""

    def __init__(self) -> None:
        self._open = -1

    def closed_by(self, one: Labelled, told: PriceText) -> bool:
        """Whether the amount is the upper end of a range begun before; else it may begin one."""
        branch, end = one.leaf.place.branch, end_of_range(one.leaf.node)
        if end == "minPrice" or _begins(one, told):
            self._open = branch
        elif self._open == branch and (end == "maxPrice" or TO_AHEAD.search(one.before)):
            self._open = -1
            return True
        return False


def _begins(one: Labelled, told: PriceText) -> bool:
    if told.low is not None and told.high is None:  # "from"
        return True
    return bool(UPPER_BEHIND.match(one.after) or DASHED.search(one.text))
