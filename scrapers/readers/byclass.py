"""What class and id words of an amount's element, or of one close around it, call the amount."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from selectolax.lexbor import LexborNode

from scrapers.readers import classes
from scrapers.readers.leaves import Leaf
from scrapers.readers.places import own_class
from scrapers.readers.pricelike import AMOUNT
from scrapers.readers.sums import without_rates

_BY_CLASS = (
    ("lowest30", classes.LOWEST), ("shipping", classes.SHIPPING),
    ("instalment", classes.INSTALMENT),
    ("tier", classes.TIER), ("unit", classes.UNIT), ("member", classes.MEMBER),
    ("eco", classes.ECO), ("net", classes.NET), ("list", classes.LIST),
    ("other", classes.OTHER),
)  # fmt: skip
_DISCOUNTED = re.compile(
    r"(?:with|has|is|ws|price|prix|preis|pris|prijs|prezzo|cena)[-_]{0,2}discount"
    r"(?![-_]?(?:amount|value|percent|label|badge|info|text))|"
    r"discount(?:ed)?[-_]{0,2}(?:price|prix|preis|pris|prijs|prezzo|cena)",
    re.IGNORECASE,
)
_OFF_SIGN = re.compile(r"^\W*[-−–]\s?\D{0,4}\d|%")  # noqa: RUF001  # the minus of pages
# "with-list-price": the price that has a list price beside it, not the list price itself
_BESIDE_IT = re.compile(
    r"(?<![\w-])(?:with|has|is)-\S+|(?<![a-z])(?:with|has)(?-i:[A-Z])\S+", re.IGNORECASE
)
# the box around current and old price alike
_LIST_OF = re.compile(r"prices?[-_]?list", re.IGNORECASE)
MAX_UP = 3  # elements, the amount's own among them
MAX_MORE = 60  # characters
_NOT_DIGIT = re.compile(r"\D")


def by_class(leaf: Leaf, size: Callable[[LexborNode], int]) -> str | None:
    """The kind that the nearest telling names give; `size`: how many characters an element holds.

    An element that holds much more than the amount is not named for it.
    """
    at: LexborNode | None = leaf.node
    for _ in range(MAX_UP):
        if at is None or size(at) > len(leaf.raw) + MAX_MORE:
            return None
        own = own_class(at)
        kind = _class_kind(own, own_one=at is leaf.node) if own else None
        if kind is not None and not _misnamed(kind, own, at, leaf):
            return kind
        at = at.parent
    return None


def _misnamed(kind: str, named: str, node: LexborNode, leaf: Leaf) -> bool:
    """Whether the names are of the price after a discount, or of old and new price together."""
    if kind == "saving":
        return _DISCOUNTED.search(named) is not None and not _OFF_SIGN.search(leaf.raw)
    return kind == "list" and node is not leaf.node and not _same(node, leaf) and _several(node)


def _several(node: LexborNode) -> bool:
    return len(set(AMOUNT.findall(without_rates(node.text(separator=" "))))) > 1


def _same(node: LexborNode, leaf: Leaf) -> bool:
    """Whether the element holds no digit but the amount's own, whose pieces stand apart."""
    return _NOT_DIGIT.sub("", node.text()) == _NOT_DIGIT.sub("", leaf.raw)


@lru_cache(maxsize=8192)
def _class_kind(named: str, *, own_one: bool) -> str | None:
    bare = _BESIDE_IT.sub("", named)
    if not own_one:
        bare = _LIST_OF.sub("", bare)
    for kind, pattern in _BY_CLASS:
        if pattern.search(bare if kind == "list" else named):
            return kind
    saved = classes.SAVING if own_one else classes.SAVED
    if saved.search(named) and not classes.NOW.search(named):
        return "saving"
    return "regular" if classes.REGULAR.search(named) else None
