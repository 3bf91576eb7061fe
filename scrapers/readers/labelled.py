"""A leaf with the words that label it, and what they make of its amount."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from scrapers.readers.around import around, close_words, label_behind
from scrapers.readers.context import TIER_TEXT, counts, labelled_by, own_after
from scrapers.readers.kinds import kind_of
from scrapers.readers.leaves import Leaf, own_text
from scrapers.readers.places import Places
from scrapers.readers.pricelike import is_price_like
from scrapers.readers.split import price_text
from scrapers.readers.sums import is_lone, measured, signed

# kinds of amounts that stand beside the price; their labels may be of one that is hidden
BESIDE = frozenset(
    {"list", "regular", "member", "lowest30", "tier", "unit", "shipping", "saving", "used"}
)


@dataclass(frozen=True, slots=True)
class Labelled:
    """A leaf being read.

    `text`: its amount with sign and measure. `before`, `after`: the words around it; `words`,
    `behind`: those of them that label it. `cut`: another amount stands before the words.
    `strong`: class or label call it the current price outright.
    """

    leaf: Leaf
    text: str
    before: str
    after: str
    words: str
    behind: str
    cut: bool
    kind: str
    strong: bool


def labelled(leaf: Leaf, places: Places, title: str | None) -> Labelled | None:
    """The leaf with its label; None where its text is no sum of money."""
    text = own_text(leaf) if leaf.own else price_text(leaf.node) or leaf.raw
    before, after = around(leaf, places, title)
    if row := TIER_TEXT.match(text):  # a whole row: "Ab 10 7,90 €"
        before, text = row[0], text[row.end() :]
    text = measured(signed(text, before, after), after)
    if not is_price_like(text) and (not is_lone(text) or counts(leaf, text, after)):
        return None
    made = _with_words(leaf, text, before, after, places)
    if made.kind in BESIDE and before.strip() and not row:
        shown = around(leaf, places, title, shown=True)  # a hidden "was" says nothing of it
        return _with_words(leaf, text, *shown, places)
    return made


def _with_words(leaf: Leaf, text: str, before: str, after: str, places: Places) -> Labelled:
    words, cut = labelled_by(leaf, before)
    behind = own_after(leaf, after)
    close = partial(close_words, leaf, places)
    if label := label_behind(leaf, after, places):
        words, cut, close = label, False, partial(str, label)
    kind, strong = kind_of(leaf, text, words, behind, size=places.size, cut=cut, close=close)
    return Labelled(leaf, text, before, after, words, behind, cut, kind, strong)
