"""Stock as the page tells it: words, class names, the button that orders."""

from __future__ import annotations

import re
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Evidence
from scrapers.readers import ordering
from scrapers.readers.columns import under_labels
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places, own_class
from scrapers.texts import read_availability

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
MAX_TEXT = 90
NEAR_BUTTON = 2  # levels above the heading; lists of other goods hang further up


class Stock(NamedTuple):
    """What the page tells of stock; `mixed` where it tells of both some and none.

    `near`: False where only a button further off tells it, which may be that of another thing.
    """

    said: Availability = Availability.UNKNOWN
    proof: Evidence | None = None
    mixed: bool = False
    near: bool = True


def read(doc: Doc, places: Places) -> Stock:
    """The nearest stock word of the page's own matter; UNKNOWN where it says nothing."""
    found: list[tuple[int, int, Availability, Evidence]] = []
    for order, node in enumerate(doc.stocks[:200]):
        place = places.of(node)
        if place.zone in ("other", "hidden") or _one_of_several(node):
            continue
        text = " ".join(node.text(separator=" ").split())
        said, value = _of(node, text)
        if said in _OUT and _of_choice(node, value):
            continue
        if said is not Availability.UNKNOWN:
            proof = Evidence("visible", "availability", value[:80], where(node))
            found.append((place.level, order, said, proof))
    button = ordering.nearest(doc, places)
    if not found:
        words = _in_words(places) or _in_column(places)
        if words is None:
            return Stock(button.said, button.proof, near=button.level <= NEAR_BUTTON)
        if button.said is not Availability.IN_STOCK:
            return words
        # a badge that a theme always prints may be hidden by its style sheet
        said = Availability.UNKNOWN if words.said in _OUT else words.said
        return words._replace(said=said, mixed=True)
    _, _, said, proof = min(found, key=lambda one: one[:2])
    signs = {one[2] in _OUT for one in found} | ({button.said in _OUT} if button.proof else set())
    return Stock(said, proof, mixed=len(signs) > 1)


# a label that makes the words after it the stock of the page's own goods
_LEAD = re.compile(
    r"(?:verf[üu]gbarkeit|liefer(?:zeit|status|barkeit)|lager(?:status|bestand|saldo)?|bestand|"
    r"avail(?:ability)?|stock(?: status)?|delivery(?: time)?|disponibilit[éà]|disponibilidade?|"
    r"d[ée]lai|stock|levertijd|voorraad(?:status)?|beschikbaarheid|dost[ęe]pno[śs][ćc]|"
    r"dostupnos[tť]|saatavuus|varastotilanne|k[ée]szlet|el[ée]rhet[őo]s[ée]g|leveranstid|"
    r"leveringstid|p[åa] lager|disponibilitate|disponibilitat|stan magazynowy|sklad(?:em|ovost)?|"
    r"estoque|existencias|在庫(?:状況|数)?|库存|庫存|재고|наличие|наявність)\b\s*:?\s+\S",
    re.IGNORECASE,
)
_SUM = re.compile(r"[€$£¥]\s?\d|\d\s?[€$£¥]|\d[.,]\d\d\b")  # words around a price tell no stock
_BUTTONS = frozenset({"button", "label", "a"})  # words of a choice, not of the page
MAX_WORDS = 60
MAX_LED = 80  # behind a label the shop may say more of it
MAX_NEAR = 2_500


def _tags(node: LexborNode) -> set[str]:
    outer = node.parent
    return {node.tag or "", (outer.tag if outer is not None else None) or ""}


def _in_words(places: Places) -> Stock | None:
    """Stock words in a short element of the heading's block, where no name tells of stock."""
    at = places.heading
    for _ in range(3):
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html") or len(at.text()) > MAX_NEAR:
            return None
        for node in at.css("p, div, span, strong, b, font, li, tr, dl")[:80]:
            text = " ".join(node.text(deep=False).split())
            whole = " ".join(node.text(separator=" ")[: 4 * MAX_WORDS].split())
            if _LEAD.match(whole):
                text = whole
            elif whole.endswith(":"):
                text = whole = f"{whole} {_behind(node)}"
            most = MAX_LED if text is whole else MAX_WORDS
            if (
                not 3 < len(text) <= most
                or _BUTTONS.intersection(_tags(node))
                or places.of(node).zone in ("other", "hidden")
            ):
                continue
            said = None if _SUM.search(text) else read_availability(text)
            if said is Availability.IN_STOCK and not _LEAD.match(text):
                continue
            if said in _OUT and (places.of(node).zone == "spoken" or _of_choice(node, text)):
                continue
            if said not in (None, Availability.UNKNOWN):
                return Stock(said, Evidence("visible", "availability", text, where(node)))
    return None


def _behind(node: LexborNode) -> str:
    """The text right behind an element, up to the next one: a value behind its label."""
    after = node.next
    said = after.text_content if after is not None and after.is_text_node else None
    return " ".join((said or "")[: 2 * MAX_LED].split())


def _of_choice(node: LexborNode, said: str) -> bool:
    """Whether words tell of one size or shop among several: in a row beside its name."""
    at: LexborNode | None = node
    for _ in range(3):
        if at is None:
            return False
        if at.tag in _ROWS:
            whole = " ".join(at.text(separator=" ")[:200].split())
            name = whole.replace(said, "", 1).strip()
            alone = not any(one.tag == at.tag for one in (_next(at), _next(at, back=True)) if one)
            return 0 < len(name) <= MAX_NAME and ":" not in name and not alone
        at = at.parent
    return False


def _next(node: LexborNode, *, back: bool = False) -> LexborNode | None:
    at = node.prev if back else node.next
    while at is not None and not at.is_element_node:
        at = at.prev if back else at.next
    return at


_ROWS = frozenset({"li", "label", "option"})
MAX_NAME = 24


def _in_column(places: Places) -> Stock | None:
    """Stock words under their label, in a table of labels and one row."""
    for label, value, cell in under_labels(places):
        said = read_availability(value) if _LEAD.match(f"{label}: {value}") else None
        if said not in (None, Availability.UNKNOWN):
            return Stock(said, Evidence("visible", "availability", value, where(cell)))
    return None


_CHOICE = frozenset({"button", "option", "label", "input"})  # its class tells of one size only
_OUT = (Availability.OUT_OF_STOCK, Availability.DISCONTINUED)
_GOOD = (Availability.IN_STOCK, Availability.LOW_STOCK)


def _of(node: LexborNode, text: str) -> tuple[Availability, str]:
    if text and len(text) <= MAX_TEXT:
        said = read_availability(text)
        if said is not None and said is not Availability.UNKNOWN:
            return (_somewhere(node) if said in _OUT else None) or (said, text)
    if len(text) <= MAX_TEXT and node.tag not in _CHOICE:
        named = own_class(node)
        for pattern, said in _CLASS:
            if pattern.search(named):
                return said, text or named
    return Availability.UNKNOWN, ""


def _one_of_several(node: LexborNode) -> bool:
    """A size or colour in a row of short ones: that it is sold out says nothing of the others."""
    if _SIZE.search(own_class(node)) and not node.css_first("li, [class*=size]"):
        return True
    row = node.parent
    if node.tag != "li" or row is None or len(row.text()) > MAX_OPTIONS:
        return False
    beside = [one for one in row.iter() if one.tag == "li" and one.mem_id != node.mem_id]
    said = [read_availability(" ".join(one.text(separator=" ").split())) for one in beside]
    return bool(beside) and all(one in (None, Availability.UNKNOWN) for one in said)


MAX_OPTIONS = 300
_SIZE = re.compile(
    r"(?:^|[\s_-])(?:sizes?|swatch(?:es)?|colou?rs?|opt(?:ion)?)(?=$|[\s_-])", re.IGNORECASE
)


def _somewhere(node: LexborNode) -> tuple[Availability, str] | None:
    """Of a list of warehouses or shops the first one that has the goods."""
    texts = [" ".join(one.text(separator=" ").split()) for one in node.iter()]
    said = [(read_availability(text) or Availability.UNKNOWN, text) for text in texts if text]
    held = [one for one in said if one[0] in _GOOD]
    best = next((one for one in held if one[0] is Availability.IN_STOCK), held[0] if held else None)
    return best if any(found in _OUT for found, _ in said) else None
