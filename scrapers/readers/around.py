"""The words around an amount: those of its nearest small block, those closest to it."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborNode

from scrapers.readers.context import find
from scrapers.readers.leaves import MAX_TEXT, Leaf
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.readers.sums import SUM, UPPER_BEHIND

MAX_BLOCK = 600  # characters: a larger element is no small block
MAX_UP = 3  # levels
_BRACKETS = re.compile(r"\([^()]*\)")
_PRICE_NAME = re.compile(
    r"pri(?:ce|x|js|s)\b|preis|pre(?:cio|[çc]o)|prezzo|\bcena|hinta|価格|[价價]|(?:회원|판매|정상|할인)가",
    re.IGNORECASE,
)
_WORDS = re.compile(r"[^\W\d_]{3}")


def around(
    leaf: Leaf, places: Places, title: str | None, *, shown: bool = False
) -> tuple[str, str]:
    """The words before and after the leaf in its nearest small block.

    `title`: the thing's name, whose words are no label. `shown`: without words that are hidden.
    """
    if leaf.line:
        return "", ""
    context = _block(leaf, places, shown=shown)
    start, end = find(context, leaf)
    before = context[:start]
    if title and title in before:
        before = before.rpartition(title)[2]
    return before[-80:], _to_next_sum(context[end:])[:45]


def _block(leaf: Leaf, places: Places, *, shown: bool) -> str:
    """The words of the largest element around the leaf that is still small."""
    at, context, climbed = leaf.node.parent, "", 0
    while at is not None and climbed < MAX_UP:
        text = _small_text(at, places, shown=shown)
        if text is None or (context and text.count(leaf.raw) > 1):
            break  # the same amount twice: which one's words these are cannot be told
        context = text
        if at.mem_id in places.above:
            break
        at, climbed = at.parent, climbed + 1
    return context


def _small_text(node: LexborNode, places: Places, *, shown: bool) -> str | None:
    """The words of an element; None where it holds too many."""
    text = places.text(node)
    if len(text) > MAX_BLOCK or len(text := squeeze(text)) > MAX_TEXT:
        return None
    return squeeze(_shown(node, places)) if shown else text


def _shown(node: LexborNode, places: Places) -> str:
    parts: list[str] = []
    for child in node.iter(include_text=True):
        if child.is_text_node:
            parts.append(child.text())
        elif places.of(child).zone != "hidden":
            parts.append(_shown(child, places))
    return " ".join(parts)


def _to_next_sum(after: str) -> str:
    """The words behind an amount without the next amount, unless it ends the same range."""
    following = SUM.search(after)
    if following and following.start() > 4 and not UPPER_BEHIND.match(after):
        return after[: following.start()]
    return after


def close_words(leaf: Leaf, places: Places) -> str:
    """The words before the leaf in the smallest element that has any beside it."""
    at = leaf.node.parent
    for _ in range(MAX_UP):
        if at is None or len(text := places.text(at)) > MAX_BLOCK:
            return ""
        text = squeeze(text)
        start, end = find(text, leaf)
        if _WORDS.search(text[:start] + text[end:]):
            return text[:start][-60:]
        at = at.parent
    return ""


def label_behind(leaf: Leaf, after: str, places: Places) -> str:
    """The label of an amount in a box whose labels stand behind their amounts.

    "£40.00 Regular price £32.00 Sale price": such a box begins with an amount and ends with
    the name of a price.
    """
    if not _PRICE_NAME.search(after):
        return ""
    at = leaf.node.parent
    for _ in range(MAX_UP - 1):
        if at is None or len(text := places.text(at)) > MAX_BLOCK:
            return ""
        text = _BRACKETS.sub(" ", squeeze(text))
        start, end = find(text, leaf)
        if _WORDS.search(text[:start] + text[end:]):
            return _own_label(text, end)
        at = at.parent
    return ""


def _own_label(text: str, end: int) -> str:
    sums = list(SUM.finditer(text))
    if not sums or _WORDS.search(text[: sums[0].start()]):
        return ""
    following = next((m.start() for m in sums if m.start() >= end), len(text))
    own = text[end:following].strip(" €$£¥₩")
    named = _PRICE_NAME.search(text[sums[-1].end() :]) and _PRICE_NAME.search(own)
    return "" if own.endswith(":") or not named else own
