"""Boxes of other things: cards of a list, entries with a title each, a link that stands alone."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborNode

from scrapers.readers.places import Places
from scrapers.readers.pricelike import PRICE_LIKE, is_price_like, squeeze

_DIGIT = re.compile(r"\d")


def is_card(node: LexborNode) -> bool:
    """Whether the element is one of several like boxes, each with a picture, a link, an amount."""
    link = node.css_first("a[href]")
    if link is None:
        return False
    beside = (_element(node, forward=forward) for forward in (True, False))
    return any(_alike(node, near) and _as_card(node, near, link) for near in beside if near)


def _alike(one: LexborNode, other: LexborNode) -> bool:
    """The same tag and class, but for what tells the single thing ("post-4711 onsale last")."""
    if one.tag != other.tag:
        return False
    named, like = one.attributes.get("class"), other.attributes.get("class")
    if named == like:
        return True
    first, second = set((named or "").split()), set((like or "").split())
    return 2 * len(first & second) >= max(1, min(len(first), len(second)))


def _as_card(node: LexborNode, near: LexborNode, link: LexborNode) -> bool:
    """Two like boxes with an amount each: pictured ones, or ones that link to two named things."""
    if not _DIGIT.search(near.text()):
        return False
    if _pictured(node):
        return _pictured(near)
    other = near.css_first("a[href]")
    if other is None or len(near.text()) > MAX_CARD:
        return False
    one, two = squeeze(link.text()), squeeze(other.text())
    named = one != two and min(len(one.split()), len(two.split())) > 1
    return (
        named
        and link.attributes.get("href") != other.attributes.get("href")
        and bool(PRICE_LIKE.search(near.text(separator=" ")))
    )


MAX_CARD = 400
_ENTRIES = frozenset({"li", "article"})
_TITLES = "h2, h3, h4, h5"
_PICTURE = re.compile(r"\.(?:jpe?g|png|webp|gif|avif)(?:[?#]|\Z)", re.IGNORECASE)


def is_entry(node: LexborNode) -> bool:
    """Whether an element of a list shows another thing: by a linked picture, or a title each."""
    if _names_another(node):
        return True
    if node.tag not in _ENTRIES:
        return False
    beside = (_element(node, forward=forward) for forward in (True, False))
    titled = any(
        near is not None and near.tag == node.tag and _titled(near) for near in beside
    ) and _titled(node)
    return titled or (_shows_another(node) and node.css_first("button, form") is None)


def _names_another(node: LexborNode) -> bool:
    """A small box whose picture and words lead to one and the same other page."""
    links = node.css("a[href]")[:6]
    pictured = {_away(a) for a in links if a.css_first("img") is not None} - {None}
    return (
        bool(pictured)
        and len(node.text()) <= MAX_CARD
        and any(_away(a) in pictured and NAMED.search(a.text()) is not None for a in links)
    )


def _away(link: LexborNode) -> str | None:
    """Where a link leads, if neither nowhere nor to a picture."""
    href = link.attributes.get("href") or "#"
    return None if href.startswith(NOWHERE) or _PICTURE.search(href) else href


def _titled(node: LexborNode) -> bool:
    """A title and an amount in one box."""
    return node.css_first(_TITLES) is not None and is_price_like(node.text(separator=" "))


def _shows_another(node: LexborNode) -> bool:
    """A picture that leads away, not to a larger copy of itself."""
    links = node.css("a[href]")[:4]
    return any(_away(a) is not None and a.css_first("img") is not None for a in links)


def is_linked_alone(node: LexborNode, places: Places) -> bool:
    """Whether the box around an amount holds nothing else but a link: the card of another thing."""
    at = node.parent
    for _ in range(3):
        if at is None or at.mem_id in places.above:
            return False
        text = places.text(at)
        if len(text) > MAX_ALONE:
            return False
        link = at.css_first("a[href]")
        if link is not None:
            named = link.text(separator=" ")
            rest = PRICE_LIKE.sub(" ", text.replace(named, " ", 1))
            away = not (link.attributes.get("href") or "#").startswith(NOWHERE)
            return away and bool(NAMED.search(named)) and not _WORDS.search(rest)
        at = at.parent
    return False


MAX_ALONE = 200
NAMED = re.compile(r"[^\W\d_]{2}")
_WORDS = re.compile(r"[^\W\d_]{3}")
NOWHERE = ("#", "javascript:", "mailto:", "tel:")


def is_headed_aside(node: LexborNode) -> bool:
    """Whether a box begins with words for other things ("You may also like")."""
    head = _first(node)
    for _ in range(2):
        if head is None or _speaks_of_others(head, text := squeeze(head.text(separator=" ")[:120])):
            break
        if not text or len(text) > MAX_HEAD:
            head = _first(head)
    else:
        return False
    return head is not None and len(squeeze(head.text(separator=" ")[:120])) <= MAX_HEAD


def _speaks_of_others(head: LexborNode, text: str) -> bool:
    """Whether a box's first words, or its heading alone, name things beside the page's own."""
    return bool(_ASIDE.search(text) or (head.tag in _HEADS and _EXTRAS.fullmatch(text)))


_HEADS = frozenset({"h2", "h3", "h4", "h5", "h6"})
_EXTRAS = re.compile(
    r"\W*(?:(?:passendes |original-?)?zubeh[öo]r|ersatzteile|"
    r"(?:matching |suitable )?accessor(?:ies|y)|spare parts|accessoires?(?: compatibles)?|"
    r"pi[èe]ces d[ée]tach[ée]es|bijpassende accessoires|onderdelen|accessori|ricambi|accesorios|"
    r"recambios|akcesoria|cz[ęe][śs]ci zamienne|p[řr][íi]slu[šs]enstv[íi]|n[áa]hradn[íi] d[íi]ly|"
    r"tillbeh[öo]r|reservdelar|tilbeh[øo]r|reservedele|(?:save with )?bundles?|spar-?sets?)\W*",
    re.IGNORECASE,
)


def _first(node: LexborNode) -> LexborNode | None:
    child = node.child
    while child is not None and not child.is_element_node:
        if child.is_text_node and (child.text_content or "").strip():
            return None
        child = child.next
    return child


MAX_HEAD = 60
_ASIDE = re.compile(
    r"\A\W*(?:(?:frequently|often|usually) bought|bought together|you (?:may|might) (?:also )?like|"
    r"(?:customers|people|others) (?:who|also)|recently viewed|"
    r"(?:related|similar) (?:products|items)|"
    r"compare (?:with )?similar|(?:other|more) sellers|(?:wird )?oft zusammen gekauft|"
    r"(?:wird )?h[äa]ufig zusammen|kunden(?:,? die| kauften)|das k[öo]nnte (?:ihnen|dir|sie|dich)|"
    r"[äa]hnliche (?:artikel|produkte)|zuletzt (?:an)?gesehen|weitere anbieter|"
    r"fr[ée]quemment achet|souvent achet|vous aimerez|vus r[ée]cemment|"
    r"r[ée]cemment (?:vus|consult)|"
    r"(?:produits|articles) (?:similaires|associ|apparent|compl[ée]ment)|autres vendeurs|"
    r"vaak samen gekocht|misschien vind|(?:klanten|anderen) (?:kochten|bekeken)|recent bekeken|"
    r"(?:gerelateerde|vergelijkbare) (?:producten|artikelen)|andere verkopers|"
    r"comprados juntos|tambi[ée]n te puede|productos (?:relacionados|similares)|"
    r"vistos recientemente|"
    r"otros vendedores|spesso (?:comprati|acquistati)|"
    r"potrebbe(?:ro)? (?:anche )?(?:piacer|interess)|"
    r"prodotti (?:correlati|simili)|visti di recente|cz[ęe]sto kupowane|mo[żz]e ci si[ęe]|"
    r"podobne (?:produkty|zbo[žz][íi])|produkty (?:powi[ąa]zane|podobne)|ostatnio ogl[ąa]dane|"
    r"inni sprzedawcy|klienci kupili|mohlo by (?:se|v[áa]s)|souvisej[íi]c[íi]|naposledy|"
    r"(?:liknande|relaterade) produkter|du kanske ocks[åa]|andra k[öo]pte|nyligen visade|"
    r"m[åa]ske (?:kan )?du|(?:lignende|relaterede) (?:produkter|varer)|senest sete)",
    re.IGNORECASE,
)


def _pictured(node: LexborNode) -> bool:
    return node.css_first("a[href]") is not None and node.css_first("img") is not None


def _element(node: LexborNode, *, forward: bool) -> LexborNode | None:
    at = node.next if forward else node.prev
    for _ in range(5):
        if at is None or at.is_element_node:
            return at
        at = at.next if forward else at.prev
    return None
