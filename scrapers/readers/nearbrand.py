"""The brand beside the heading, where no label tells it: by class, attribute, link or place."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborNode

from scrapers.model import Evidence
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.readers.values import brand_name

BRAND_CLIMB = 2
BOX_CLIMB = 6
MAX_BLOCK = 8_000  # characters of text: a block that says more holds other things too
MAX_BRANDED = 20
MAX_LINKS = 3_000
MAX_NAME = 60
MAX_WORDS = 5
MAX_ABOVE = 40  # characters of a short text above the heading
_WORDS = (
    "brand", "vendor", "manufacturer", "marque", "producer", "hersteller", "fabricant", "fabrikant",
    "marca", "merk", "tillverkare", "varumarke",
)  # fmt: skip
_NAME = "|".join(_WORDS)
_BRANDED = ", ".join(f'[class*="{word}" i]' for word in _WORDS)
_BRAND_CLASS = re.compile(
    r"(?:product|item|pdp|prod|popup|detail|title|single)?s?(?:[-_]*(?:view|info|page|details?|"
    rf"main|single))?[-_]*(?:{_NAME})(?:[-_]*(?:name|title|link|text|label|tag))?",
    re.IGNORECASE,
)
_ATTRIBUTES = frozenset((
    "data-product-brand", "data-item-brand", "data-brand", "data-brand-name", "data-product-vendor",
    "data-vendor", "data-manufacturer", "data-product-manufacturer",
))  # fmt: skip
_BY = re.compile(r"\A(?:by|von|par|door|da|por|od|av|af)\s+(?=[^\W\d_])")
# links to all that a maker makes; these say so outright
_STORE = re.compile(
    r"(?:visit the|besuche den|bezoek de) (?P<a>.{2,40})[- ](?:store|shop|winkel)|"
    r"(?:alle artikel|alle produkte|mehr(?: artikel| produkte)?) (?:von|der marke) (?P<b>.{2,40})|"
    r"(?:more|all(?: products| items)?) (?:from|by) (?P<c>.{2,40})|"
    r"(?:alle(?:s| producten)?|meer) van (?P<d>.{2,40})|"
    r"(?:tous les produits|tous les articles|plus) de (?:la marque )?(?P<e>.{2,40})|"
    r"(?:todos los productos|m[áa]s) de (?P<f>.{2,40})|"
    r"(?:tutti i prodotti|altro) (?:di|della marca) (?P<g>.{2,40})",
    re.IGNORECASE,
)
_SHOP_ALL = re.compile(r"(?:shop|see|view|browse) all (?P<a>.{2,40})", re.IGNORECASE)
_TO_BRAND = re.compile(rf"/(?:b|{_NAME}|marken?|brands?)s?[/=_-]|[?&](?:{_NAME})=", re.IGNORECASE)
Found = tuple[str, Evidence]


def named(places: Places) -> Found | None:
    """The brand alone in an element or attribute that is named for it, around the heading."""
    at = places.heading
    for _ in range(BRAND_CLIMB):
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html") or len(places.text(at)) > MAX_BLOCK:
            break
        found = [n for n in at.css(_BRANDED)[:MAX_BRANDED] if _is_brand(n, places)]
        texts = {t for n in found if (t := squeeze(n.text(separator=" ")[:MAX_NAME]))}
        brand = _name(_BY.sub("", texts.pop())) if len(texts) == 1 else None
        if brand is not None:
            return brand, Evidence("visible", "brand", brand, where(found[0]))
        if found:
            break
    return _on_box(places)


def _is_brand(node: LexborNode, places: Places) -> bool:
    """An element with nothing but a name, whose class ends in the word for a brand."""
    names = (node.attributes.get("class") or "").split()
    parts = (re.split(r"__|--", name)[-1] for name in names)
    if not any(_BRAND_CLASS.fullmatch(part) for part in parts):
        return False
    text = node.text()
    lone = len(text) <= MAX_NAME and ":" not in text and node.css_first("li, select, h1") is None
    return lone and places.of(node).zone == ""


def _on_box(places: Places) -> Found | None:
    """What a box around the heading says in an attribute ("data-product-brand")."""
    at = places.heading
    for _ in range(BOX_CLIMB):
        if at is None or at.tag in ("body", "html"):
            return None
        attrs = at.attributes
        for key in _ATTRIBUTES.intersection(attrs):
            brand = _name(attrs[key] or "")
            if brand is not None:
                return brand, Evidence("visible", "brand", brand, f"{where(at)}@{key}")
        at = at.parent
    return None


def beside(doc: Doc, places: Places) -> Found | None:
    """The brand that the title holds, and a link to all of its things or a short text above.

    Asked last: neither is named for a brand, so both must repeat a part of the title.
    """
    if places.heading is None:
        return None
    title = squeeze(places.heading.text(separator=" ")[:400])
    return _linked(title, places) or _above(doc, title, places.heading)


def _linked(title: str, places: Places) -> Found | None:
    at = places.heading
    for _ in range(BRAND_CLIMB):
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html") or len(places.text(at)) > MAX_BLOCK:
            return None
        for link in at.css("a[href]")[:MAX_BRANDED]:
            brand = _of_link(link, title)
            if brand is not None and places.of(link).zone == "":
                return brand, Evidence("visible", "brand", _text(link), where(link))
    return None


def _of_link(link: LexborNode, title: str) -> str | None:
    """The maker whose things a link leads to; "Shop all" may lead to a kind of things as well."""
    text = _text(link)
    found = _STORE.fullmatch(text)
    if found is None and _TO_BRAND.search(link.attributes.get("href") or ""):
        found = _SHOP_ALL.fullmatch(text)
    brand = _name(next((g for g in found.groups() if g), "")) if found else None
    return brand if brand and re.search(rf"(?<!\w){re.escape(brand)}(?!\w)", title) else None


def _above(doc: Doc, title: str, heading: LexborNode) -> Found | None:
    """A short text right above the heading with which the title begins, no kind of goods.

    A word that the page writes small elsewhere, or links to as it does to its shelves,
    is a kind ("Balsa" above "Balsa sheet").
    """
    node = _before(heading)
    text = squeeze(node.text(separator=" ")[: 2 * MAX_ABOVE]) if node is not None else ""
    if node is None or not 2 < len(text) <= MAX_ABOVE or not title.startswith(f"{text} "):
        return None
    inner = node if node.tag == "a" else node.css_first("a[href]")
    href = (inner.attributes.get("href") or "").strip("#") if inner is not None else ""
    if (
        (href and not _TO_BRAND.search(href))
        or _is_kind(doc, text)
        or (brand := _name(text)) is None
    ):
        return None
    return brand, Evidence("visible", "brand", text, where(node))


def _is_kind(doc: Doc, text: str) -> bool:
    small, body = text.casefold(), doc.tree.body
    cased = text.upper() != text.lower()  # scripts without capitals say nothing by them
    if body is None or (cased and text == small):
        return True
    if cased and re.search(rf"(?<!\w){re.escape(small)}(?!\w)", body.text(separator=" ")):
        return True
    links = (n for n in body.css("a[href]")[:MAX_LINKS] if _text(n).casefold() == small)
    hrefs = ((n.attributes.get("href") or "").strip("#") for n in links)
    return any(href and not _TO_BRAND.search(href) for href in hrefs)


def _before(heading: LexborNode) -> LexborNode | None:
    """The element right before the heading, or before a box that begins with it."""
    at: LexborNode | None = heading
    for _ in range(BRAND_CLIMB):
        prev = at.prev if at is not None else None
        while prev is not None and prev.is_text_node and not (prev.text_content or "").strip():
            prev = prev.prev
        if prev is not None:
            return prev if prev.is_element_node and prev.tag in _SHORT else None
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html"):
            return None
    return None


_SHORT = frozenset({"p", "div", "span", "a", "h2", "h3", "h4", "h5", "strong", "b"})


def _text(node: LexborNode) -> str:
    return squeeze(node.text(separator=" ")[: 4 * MAX_NAME])


def _name(text: str) -> str | None:
    text = re.split(r" [(|]", text, maxsplit=1)[0].rstrip(" .,;")
    if len(text) > MAX_NAME or len(text.split()) > MAX_WORDS or text.endswith(":"):
        return None
    return None if not text or text.isdigit() or text.casefold() in _WORDS else brand_name(text)
