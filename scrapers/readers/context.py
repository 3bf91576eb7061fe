"""What stands around an amount: its label, the sentence or link it is in, the range it ends."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from collections.abc import Iterator

from selectolax.lexbor import LexborNode

from scrapers.readers import classes, labels
from scrapers.readers.leaves import Leaf
from scrapers.readers.places import own_class
from scrapers.readers.pricelike import AMOUNT, is_price_like, squeeze

TIER_BEFORE = re.compile(
    r"(?:\b(?:ab|from|vanaf|[àa] partir de|d[èe]s|da|desde|od|fr[åa]n|fra|alkaen|buy|qty|>=|"
    r"≥)\s*(\d{1,5})|"
    r"(?<![\d.,])(\d{1,5})\s*(?:\+(?!\s*[a-z])|or more|oder mehr|et plus|of meer|o m[áa]s|"
    r"o pi[ùu]|db-?t[óo]l))[^\d]{0,16}$",
    re.IGNORECASE,
)
# "Koop 10 voor", "Kaufen Sie 3 zum Preis von je"
BUY_FOR = re.compile(
    r"\b(?:buy|koop|kaufen sie|achetez(?:-en)?|acquist(?:a|ando)(?:ne)?|compra|kup|k[öo]p|k[øo]b|"
    r"kj[øo]p)\s+(\d{1,5})[^\d]{1,24}$",
    re.IGNORECASE,
)
TIER_TEXT = re.compile(
    r"\d{1,5}\s*db-?t[óo]l:?\s+(?=\d)|"
    r"(?:ab|from|vanaf|[àa] partir de|d[èe]s|da|desde|od|fr[åa]n|alkaen|"
    r"fra)\s*\d{1,5}\s*(?:\s(?:st(?:[üu]cks?|k|uks?)?|pcs?|pieces?|pi[èe]ces?|pz|pezzi|uds?|"
    r"unid\w*|kpl|szt|ks|"
    r"m|met(?:er|re)s?|m[èe]tres?|metr\w{0,3}|kg)\.?(?:\s?[:=])?\s*)?(?<=[\s:=])"
    r"(?=[^\d\s]{0,4}\s?\d+[.,]\d)",
    re.IGNORECASE,
)
FOR_ONE = re.compile(
    r"(?<![\d.,])1\s*(?:\+|pcs?\.?|pieces?\+?|st(?:k|[üu]ck)?\.?|szt\.?)?[^\d\w]*\Z"
)
_DAYS = (
    r"(?:(?:working|business|full)\s)?(?:days?|tage?n?|werktage?n?|jours?|dagen|werkdagen|d[íi]as|giorni|"
    r"dni|dn[íůy]|dagar|dage|dager|p[äa]iv\w+|nap(?:os)?|hours?|stunden|weeks?|wochen)\b"
)
# before an amount only days, the rate of a tax and a saving told twice ("20%, also 5 €") are none
_SUM_BEFORE = re.compile(
    rf"\d[\d.,'’\u00a0\u202f]*(?!\d)(?!(?:\s?[-–]\s?\d{{1,2}})?\s?{_DAYS})"
    r"(?![\d.,]*\s?%\s?(?:(?:mwst|ust|vat|btw|moms|mva|tva|iva|dph|alv|"
    r"tax|[áa]fa)\b|,?\s?(?:also|soit|ou|or|oder|czyli|dvs)\b))",
    re.IGNORECASE,
)


def of_link(node: LexborNode) -> bool:
    """An amount behind a link in the same line: what another page sells."""
    link = node.css_first("a[href]")
    if link is None:
        return False
    href = (link.attributes.get("href") or "").strip().lower()
    name = squeeze(link.text())
    if href.startswith(("#", "javascript:", "mailto:", "tel:")) or not _WORDS_OF.search(name):
        return False
    said = labels.GROSS.search(name) or labels.NET.search(name) or labels.SHIPPING.search(name)
    before, _, after = squeeze(node.text(separator=" ")).partition(name)
    return not said and not AMOUNT.search(before) and AMOUNT.search(after) is not None


def lines_of(leaf: Leaf) -> list[Leaf]:
    """An element that breaks its lines between amounts, line by line; else the leaf as it is."""
    texts: list[list[str]] = [[]]
    struck: list[bool] = [False]
    child = leaf.node.child
    while child is not None and len(texts) <= MAX_LINES:
        if child.tag == "br":
            texts.append([])
            struck.append(False)
        elif child.is_text_node:
            texts[-1].append(child.text_content or "")
        elif child.is_element_node and not leaf.own:
            texts[-1].append(child.text(separator=" "))
            struck[-1] = struck[-1] or child.tag in _STRUCK_TAGS
        child = child.next
    made = [squeeze(" ".join(parts)) for parts in texts] if len(texts) > 1 else []
    held = [(text, old) for text, old in zip(made, struck, strict=False) if is_price_like(text)]
    if len(held) < MIN_LINES:
        return [leaf]
    return [
        leaf._replace(raw=text, own=True, line=True,
                      place=leaf.place._replace(struck=leaf.place.struck or old))
        for text, old in held
    ]  # fmt: skip


MAX_LINES, MIN_LINES = 20, 2
_STRUCK_TAGS = frozenset({"del", "s", "strike"})


def labelled_by(leaf: Leaf, before: str) -> tuple[str, bool]:
    """The words that may label the leaf, and whether another amount stands before them."""
    words, cut = _cut(before)
    if cut and not leaf.own and words.strip():
        own = _beside(leaf.node, forward=False)
        words = words if own is None else _cut(own)[0]
    named = _printed_label(leaf.node)
    return (f"{words} {named}", False) if named else (words, cut)


def own_after(leaf: Leaf, after: str) -> str:
    """The words after the leaf without those that lead the next amount in an element of its own."""
    if leaf.own or not _WORDS_OF.search(after):
        return after
    own = _beside(leaf.node, forward=True)
    return after if own is None else own[:45]


def _beside(node: LexborNode, *, forward: bool) -> str | None:
    """The words between the node and the next element with an amount; None where none is near.

    A line break ends them once a word is found.
    """
    found: list[str] = []
    crossed, said = False, 0
    for near in _neighbours(node, forward=forward):
        if near.tag == "br":
            if found:
                break
            crossed = True
            continue
        text = _said(near)
        if _has_amount(near, text):
            if near.is_text_node and not crossed:
                return None  # bare text: whose words these are cannot be told
            break
        if text:
            found.append(text)
            said += len(text)
            if said > MAX_BETWEEN:
                return None
    else:
        return None
    return " ".join(found if forward else reversed(found))


MAX_BETWEEN = 200  # characters: an amount behind more words is not near


def _neighbours(node: LexborNode, *, forward: bool) -> Iterator[LexborNode]:
    """What stands before or after the node, then before or after its parent, three levels up."""
    at: LexborNode | None = node
    for _ in range(3):
        if at is None or at.tag in ("body", "main"):
            return
        near = at.next if forward else at.prev
        while near is not None:
            yield near
            near = near.next if forward else near.prev
        at = at.parent


def _said(node: LexborNode) -> str:
    if node.is_text_node:
        return squeeze(node.text_content or "")
    return squeeze(node.text(separator=" ")[:400]) if node.is_element_node else ""


def _has_amount(node: LexborNode, text: str) -> bool:
    if node.is_text_node:
        return AMOUNT.search(text) is not None
    return _SUM_BEFORE.search(text) is not None and is_price_like(text)


def _printed_label(node: LexborNode) -> str:
    """The label that a style sheet prints before the amount."""
    for one in (node, node.parent):
        label = one.attributes.get("data-label") if one is not None else None
        if label:
            return label.strip()[:40]
    return ""


def in_basket(node: LexborNode) -> bool:
    """Whether an amount stands in a link to the basket: what is in it so far."""
    at: LexborNode | None = node
    for _ in range(4):
        if at is None or at.tag == "body":
            return False
        if at.tag == "a":
            return _BASKET.search(at.attributes.get("href") or "") is not None
        at = at.parent
    return False


_BASKET = re.compile(
    r"/(?:cart|basket|bag|checkout|warenkorb|panier|winkel\w+|carrello|carrito|koszyk|ko[sš][ií]k|"
    r"kundvagn|varukorg|kurv|ostoskori|kosar)\b[^?=]*\Z",
    re.IGNORECASE,
)


def in_sentence(node: LexborNode) -> bool:
    """An amount in the midst of a paragraph's words, as an article tells what things cost."""
    block = node.parent
    if node.tag not in _INLINE or block is None or block.tag != "p":
        return False
    before, _, after = squeeze(block.text(separator=" ")).partition(squeeze(node.text()))
    ahead = len(_WORDS_OF.findall(_cut(before)[0]))
    return ahead >= FEW_WORDS and len(_WORDS_OF.findall(after[:60])) >= FEW_WORDS


FEW_WORDS = 3
_INLINE = frozenset({"b", "strong", "em", "i", "span", "a", "u"})
_WORDS_OF = re.compile(r"[^\W\d_]{2,}")
_STOP = re.compile(r"(?:[^\W\d_]|\d)[.!?]\s*\Z")
_NEXT = re.compile(r"[.!?]\s+[A-ZÀ-Ž]\w+.*\d")


def is_sentence(text: str) -> bool:
    """Whether an amount stands in running text: words and a full stop, or a second sentence."""
    return len(_WORDS_OF.findall(text)) > 3 and bool(_STOP.search(text) or _NEXT.search(text))


def end_of_range(node: LexborNode) -> str | None:
    """The end of a range that the element or its wrapper is marked as."""
    for one in (node, node.parent):
        kind = one.attributes.get("data-price-type") if one is not None else None
        if kind:
            return kind
    return None


def _cut(before: str) -> tuple[str, bool]:
    """The words since the last amount, and whether there was one."""
    ends = [m.end() for m in _SUM_BEFORE.finditer(before)]
    return before[ends[-1] if ends else 0 :][-60:], bool(ends)


def counts(leaf: Leaf, text: str, after: str) -> bool:
    """A bare number that counts or numbers something: pieces, stars, stock, an article."""
    label = _DIGIT.split(text, 1)[0]
    return bool(
        classes.COUNT.search(own_class(leaf.node))
        or after.lstrip().startswith("%")
        or _COUNTED.search(label)
    )


_DIGIT = re.compile(r"\d")
_COUNTED = re.compile(
    r"\b(?:(?:in[- ])?stock|available|quantity|qty|units|sold|reviews?|ratings?|"
    r"lager(?:bestand|saldo)?|bestand|verf[üu]gbar|vorr[äa]tig|st[üu]ckzahl|menge|verkauft|"
    r"bewertungen|disponib\w+|quantit[éà]|cantidad|vendus?|voorraad|aantal|giacenza|magazyn\w*|"
    r"dost[ęe]pn\w+|sklad\w*|na stanie|i lager|p[åa] lager|antal|sku|e\.?an|gtin|upc|mpn|"
    r"(?:art(?:ikel|icle)?|item|part|model|order|best(?:ell)?)[.\s-]{0,2}(?:no|nr|number|nummer|n[°º])"
    r")\b",
    re.IGNORECASE,
)


def find(context: str, leaf: Leaf) -> tuple[int, int]:
    texts = (leaf.raw,) if leaf.split else (squeeze(leaf.node.text(separator=" ")), leaf.raw)
    for text in texts:
        start = context.find(text)
        if start >= 0:
            return start, start + len(text)
    return len(context), len(context)


def for_reading(text: str, before: str) -> str:
    """A "from" that stands outside the element belongs to its amount."""
    found = labels.FROM.search(before)
    return f"{found[0].strip()} {text}" if found else text
