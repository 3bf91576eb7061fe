"""What an amount is: the price, a list price, a saving, a tier ..., by class, label and strike."""

from __future__ import annotations

import re
from collections.abc import Callable

from selectolax.lexbor import LexborNode

from scrapers.model import PriceText, Tax
from scrapers.readers import classes, labels
from scrapers.readers.byclass import by_class
from scrapers.readers.bylabel import by_label
from scrapers.readers.leaves import Leaf
from scrapers.readers.places import own_class
from scrapers.readers.pricelike import AMOUNT, squeeze
from scrapers.readers.sums import without_rates
from scrapers.readers.taxwords import tax_label

MAX_LABEL = 300
_TICK = "input[type=checkbox]"
_STRUCK = 'del, s, strike, [style*="line-through"]'
_PER = re.compile(r"[/=)(]|\b(?:per|pro|je|par|al|por|za|le)\b", re.IGNORECASE)
# what class names may say of more than the one amount that is called the current price
_OUTSPOKEN = frozenset({"member", "shipping", "other", "instalment"})
_LEAD = re.compile(r"([^\W\d_][^\d€$£¥:]{1,24}(?::|(?= ?[\d€$£¥])))")


def kind_of(
    leaf: Leaf,
    text: str,
    before: str,
    after: str,
    *,
    size: Callable[[LexborNode], int],
    cut: bool = False,
    close: Callable[[], str] = str,
) -> tuple[str, bool]:
    """What the amount is, and whether class or label call it the current price outright.

    `size`: how many characters an element holds. `cut`: another amount stands before the words
    `before`. `close` gives those in the smallest element that has words; what is said farther
    off of members is said of another amount.
    """
    if leaf.place.struck or _struck_within(leaf.node):
        lowest = labels.LOWEST30.search(f"{before} {text}") or by_class(leaf, size) == "lowest30"
        return ("lowest30" if lowest else "list"), False
    if labels.OPTION.search(text) or _is_least(before, text) or _ticked(leaf.node):
        return "option", False
    if _of_service(leaf):
        return "option", False
    once = bool(labels.ONCE.search(f"{before[-40:]} {text}"))
    strong = once or _is_current(leaf, text, before)
    said = by_label(text, before, after)
    if said == "member" and (once or not labels.MEMBER.search(f"{close()} {text}")):
        said = None
    if said:
        return ("list" if said == "regular" and by_class(leaf, size) == "list" else said), False
    named = by_class(leaf, size)
    if named == "unit" and not _says_unit(text, before, after):
        named = None  # trade shops call the price of one piece so
    if named and not (strong and named in _OUTSPOKEN):
        return named, False
    return tax_label(text, before, after, cut=cut) or "now", strong


# before the sum from which on an order is carried free
_FREE_FROM = re.compile(
    r"(?:(?:versand|porto)(?:kosten)?frei\w*|frei haus|kostenlos\w* (?:versand|lieferung)|"
    r"(?:versand|lieferung) (?:gratis|kostenlos|frei)|free (?:\w+ )?(?:shipping|delivery|postage)|"
    r"(?:livraison|port|frais de port) (?:gratuite?s?|offerte?s?)|"
    r"gratis (?:verzending|levering|bezorging)|"
    r"spedizione gratuita|env[íi]os? grat\w+|portes gr[áa]tis|darmowa (?:dostawa|wysy[łl]ka)|"
    r"doprava zdarma|fri frakt|fri fragt|ilmainen toimitus)[^\d€$£]{0,12}\b"
    r"(?:ab|from|d[èe]s|[àa] partir de|vanaf|da|desde|od|fr[åa]n|fra|alkaen)\W*(?:[A-Z]{3}\s?)?\Z",
    re.IGNORECASE,
)
MAX_LEAD = 60


def _is_least(before: str, text: str) -> bool:
    """Whether the amount is what an order must come to, as for carriage without charge."""
    lead = f"{before} {AMOUNT.split(without_rates(text), 1)[0]}"[-MAX_LEAD:]
    return bool(labels.MINIMUM.search(before) or _FREE_FROM.search(lead))


def _is_current(leaf: Leaf, text: str, before: str) -> bool:
    """Whether class or label call the amount the current price."""
    named = classes.NOW.search(own_class(leaf.node))
    return bool(named or labels.CURRENT.search(before) or _led(text))


def _ticked(node: LexborNode) -> bool:
    """In the label of a box to tick: an extra, not the thing itself."""
    at: LexborNode | None = node
    for _ in range(4):
        if at is None:
            return False
        if at.tag == "label":
            return at.css_first(_TICK) is not None
        at = at.parent
    return False


def _of_service(leaf: Leaf) -> bool:
    """In the label of a box or button to choose a longer guarantee or a protection."""
    at = leaf.node.parent
    for _ in range(3):
        if at is None or at.tag == "label":
            break
        at = at.parent
    if at is None or at.tag != "label":
        return False
    lead = squeeze(at.text(separator=" ")[:MAX_LABEL]).partition(leaf.raw)[0]
    return any(pattern.search(lead) is not None for pattern in (labels.PLAN, labels.EXTRA))


def _struck_within(node: LexborNode) -> bool:
    """The sign stands in the element, its digits in a struck one within."""
    child = node.child
    if child is None or (child.next is None and child.is_text_node):
        return False
    inner = node.css_first(_STRUCK)
    return inner is not None and AMOUNT.findall(inner.text()) == AMOUNT.findall(node.text())


def _says_unit(text: str, before: str, after: str) -> bool:
    """Whether words beside an element named for a unit price name a unit."""
    near = f"{before[-30:]} {text} {after[:14]}"
    return bool(labels.UNIT.search(near) or _PER.search(f"{text} {after[:14]}"))


def _led(text: str) -> bool:
    """Whether the amount's own text begins with a word for the current price ("Price: 2.35")."""
    lead = _LEAD.match(text)
    return lead is not None and bool(labels.CURRENT.search(lead[1]))


def refined(kind: str, told: PriceText) -> str:
    """The kind of an amount, once its text tells a range, a measure or a tax."""
    if kind == "now" and told.low is not None:
        return "low"
    if kind in ("now", "net", "gross") and told.per and not labels.PIECE.search(told.per):
        return "unit"
    if kind in ("now", "net", "gross") and told.tax is Tax.EXCLUDED:
        return "net"
    return kind
