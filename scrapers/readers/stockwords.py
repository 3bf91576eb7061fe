"""Stock in plain words near the heading, where no element is named for it."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Evidence
from scrapers.readers.columns import under_labels
from scrapers.readers.dom import where
from scrapers.readers.onesize import named_beside
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.texts import read_availability

OUT = (Availability.OUT_OF_STOCK, Availability.DISCONTINUED)
LATER = (Availability.BACKORDER, Availability.PREORDER)
GOOD = (Availability.IN_STOCK, Availability.LOW_STOCK)
# a label that makes the words after it the stock of the page's own goods
_LEAD = re.compile(
    r"(?:verf[üu]gbarkeit|liefer(?:zeit|status|barkeit)|lager(?:status|bestand|saldo)?|bestand|"
    r"avail(?:ability)?|stock(?: status)?|delivery(?: time)?|disponibilit[éà]|disponibilidade?|"
    r"d[ée]lai|stock|levertijd|voorraad(?:status)?|beschikbaarheid|dost[ęe]pno[śs][ćc]|"
    r"dostupnos[tť]|saatavuus|varastotilanne|k[ée]szlet|el[ée]rhet[őo]s[ée]g|leveranstid|"
    r"leveringstid|p[åa] lager|disponibilitate|disponibilitat|"
    r"stan(?: magazynowy)?|sklad(?:em|ovost)?|estoque|existencias|"
    r"在庫(?:状況|数)?|库存|庫存|재고|наличие|наявність)\b\s*:?\s+\S",
    re.IGNORECASE,
)
# words that begin a line of their own and can mean nothing else
_PLAIN = re.compile(
    r"[^\w]*(?:\d+\s*)?(?:in[- ]stock|auf lager|lagernd|sofort (?:verf[üu]gbar|lieferbar)|en stock|"
    r"(?:op|uit) voorraad|direct leverbaar|skladem|na skladě|na stanie|w magazynie|i lager|"
    r"på lager|varastossa|raktáron|készleten|em estoque|disponible en stock|"
    r"disponibilità immediata|在庫あり|有货|재고 ?있음)"
    r"(?!\s+(?:items?|products?|orders?|goods|artikel|produits?|producten|in (?:store|branch)))",
    re.IGNORECASE,
)
_SUM = re.compile(r"[€$£¥]\s?\d|\d\s?[€$£¥]|\d[.,]\d\d\b")  # words around a price tell no stock
_BUTTONS = frozenset({"button", "label", "a"})  # words of a choice, not of the page
_SHORT = "p, div, span, strong, b, font, li, tr, dl, dt"
_TAGS = frozenset(_SHORT.split(", "))
_NAMES = frozenset({"dt", "th"})  # labels by their tag, with or without a colon
MAX_NODES = 80
MAX_WORDS = 60
MAX_LED = 120  # behind a label the shop may say more of it
MAX_NEAR = 2_500
MAX_CLIMB = 3


def near_heading(places: Places) -> tuple[Availability, Evidence] | None:
    """Stock words in a short element of the heading's block, else under their label in a table."""
    return _in_block(places) or _in_column(places)


def _in_block(places: Places) -> tuple[Availability, Evidence] | None:
    at = places.heading
    for _ in range(MAX_CLIMB):
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html"):
            return None
        for node in _short(at, places):
            text, led = _words(node)
            if 3 < len(text) <= (MAX_LED if led else MAX_WORDS):
                said = _of(node, text, places)
                if said is not None:
                    return said, Evidence("visible", "availability", text, where(node))
    return None


def _short(box: LexborNode, places: Places) -> list[LexborNode]:
    """The elements of few words around the heading; of a large box those right behind it."""
    if len(box.text()) <= MAX_NEAR:
        return box.css(_SHORT)[:MAX_NODES]
    found: list[LexborNode] = []
    left, behind = MAX_NEAR, False
    for child in box.iter():
        if behind:
            left -= len(child.text())
            if left < 0:
                break
            found += ([child] if child.tag in _TAGS else []) + child.css(_SHORT)
        behind = behind or child.mem_id in places.above
    return found[:MAX_NODES]


def _words(node: LexborNode) -> tuple[str, bool]:
    """All that an element says where a label of stock leads, else its own words; if one leads."""
    whole = squeeze(node.text(separator=" ")[: 4 * MAX_WORDS])
    if _LEAD.match(whole):
        return whole, True
    if whole.endswith(":") or node.tag in _NAMES:
        return f"{whole} {_behind(node)}", True
    return squeeze(node.text(deep=False)), False


def _of(node: LexborNode, text: str, places: Places) -> Availability | None:
    """The stock that words tell of the page's own goods; in stock by a label, or first of all."""
    if _BUTTONS.intersection(_tags(node)) or _SUM.search(text):
        return None
    zone = places.of(node).zone
    said = read_availability(text) if zone not in ("other", "hidden") else None
    if said is Availability.UNKNOWN:
        return None
    if said is Availability.IN_STOCK and not (_LEAD.match(text) or _PLAIN.match(text)):
        return None
    if said in OUT and (zone == "spoken" or named_beside(node, text)):
        return None
    return said


def _tags(node: LexborNode) -> set[str]:
    outer = node.parent
    return {node.tag or "", (outer.tag if outer is not None else None) or ""}


def _behind(node: LexborNode) -> str:
    """The text right behind an element, else the next one's: a value behind its label."""
    after, said = node.next, ""
    while after is not None and not said.strip():
        element = after.is_element_node
        said = after.text(separator=" ") if element else after.text_content or ""
        after = None if element else after.next
    return squeeze(said[: 2 * MAX_LED])


def _in_column(places: Places) -> tuple[Availability, Evidence] | None:
    for label, value, cell in under_labels(places):
        said = read_availability(value) if _LEAD.match(f"{label}: {value}") else None
        if said is not None and said is not Availability.UNKNOWN:
            return said, Evidence("visible", "availability", value, where(cell))
    return None
