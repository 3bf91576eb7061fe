"""One parse and one selector pass: the elements that the readers ask for, in page order."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from selectolax.lexbor import LexborHTMLParser, LexborNode

# names that shops of many tongues give to elements with an amount in them
PRICE_NAMES = (
    "price", "preis", "prix", "prijs", "precio", "prezzo", "cena", "pris", "preco", "hinta",
    "amount", "money", "cost", "betrag",
)  # fmt: skip
STOCK_NAMES = (
    "stock",
    "avail",
    "lager",
    "inventory",
    "dispo",
    "sold-out",
    "soldout",
    "deliverytime",
)
_PRICE_WORD = re.compile("|".join(PRICE_NAMES), re.IGNORECASE)
_STOCK_WORD = re.compile("|".join(STOCK_NAMES), re.IGNORECASE)
_ALWAYS = (
    "h1",
    "meta[content]",
    'link[rel="canonical" i]',
    "title",
    "button",
    'input[type="submit"]',
)


@dataclass(slots=True)
class Doc:
    """A parsed page with its elements sorted by what they may tell."""

    tree: LexborHTMLParser
    html: str
    url: str
    lang: str | None = None
    titles: list[str] = field(default_factory=list)
    headings: list[LexborNode] = field(default_factory=list)
    metas: list[tuple[str, str]] = field(default_factory=list)
    scripts: list[LexborNode] = field(default_factory=list)
    ldjson: list[LexborNode] = field(default_factory=list)
    itemprops: list[LexborNode] = field(default_factory=list)
    properties: list[LexborNode] = field(default_factory=list)
    priced: list[LexborNode] = field(default_factory=list)
    stocks: list[LexborNode] = field(default_factory=list)
    buttons: list[LexborNode] = field(default_factory=list)
    tables: list[LexborNode] = field(default_factory=list)
    canonical: str | None = None


@lru_cache(maxsize=64)
def _selector(has: tuple[str, ...]) -> str:
    parts = list(_ALWAYS)
    if "script" in has:
        parts.append('script[type*="json" i], script:not([src])')
    if "itemprop" in has or "itemscope" in has:
        parts.append("[itemprop], [itemscope]")
    if "typeof" in has or "property=" in has:
        parts.append("[property], [typeof], [rel]" if "typeof" in has else "meta[property]")
    parts += [f'[class*="{n}" i], [id*="{n}" i]' for n in (*PRICE_NAMES, *STOCK_NAMES) if n in has]
    parts += [n for n in ("ins", "del", "s", "strike") if f"<{n}" in has]
    parts += [f"[{n}]" for n in _TABLES if n in has]
    return ", ".join(parts)


_TABLES = (
    "data-product_variations", "data-product", "data-price-amount", "data-price",
    "data-product-price", "data-variants", "data-product-json",
)  # fmt: skip
_LOOKED_FOR = (
    "script", "itemprop", "itemscope", "typeof", "property=", "<ins", "<del", "<s", "<strike",
    *PRICE_NAMES, *STOCK_NAMES, *_TABLES,
)  # fmt: skip


def parse(html: str, url: str) -> Doc:
    """Parse once, select once. `html` is decoded text within the structure limits."""
    tree = LexborHTMLParser(html)
    doc = Doc(tree, html, url)
    lower = html.lower()
    has = tuple(word for word in _LOOKED_FOR if word in lower)
    root = tree.root
    if root is not None:
        doc.lang = (root.attributes.get("lang") or "").strip() or None
        last = 0
        for node in root.css(_selector(has)):
            if node.mem_id != last:  # an element comes once for each selector that it meets
                last = node.mem_id
                _sort(doc, node)
    return doc


def _sort(doc: Doc, node: LexborNode) -> None:
    tag = node.tag or ""
    attrs = node.attributes
    handler = _BY_TAG.get(tag)
    if handler is not None:
        handler(doc, node, attrs)
    if "itemprop" in attrs or "itemscope" in attrs:
        doc.itemprops.append(node)
    if tag == "meta" or tag == "script":
        if "property" in attrs:
            doc.properties.append(node)
        return
    if "property" in attrs or "typeof" in attrs or "rel" in attrs:
        doc.properties.append(node)
    named = f"{attrs.get('class') or ''} {attrs.get('id') or ''}"
    if (
        tag in _STRUCK
        or _PRICE_WORD.search(named)
        or "data-price-amount" in attrs
        or "data-price" in attrs
    ):
        doc.priced.append(node)
    elif attrs.get("itemprop") in ("price", "lowPrice", "highPrice"):
        doc.priced.append(node)
    if _STOCK_WORD.search(named):
        doc.stocks.append(node)
    if any(name in attrs for name in _TABLES):
        doc.tables.append(node)


_STRUCK = frozenset({"ins", "del", "s", "strike"})


def _meta(doc: Doc, _node: LexborNode, attrs: dict[str, str | None]) -> None:
    name = attrs.get("property") or attrs.get("name") or ""
    content = attrs.get("content")
    if name and content is not None and len(doc.metas) < 500:
        doc.metas.append((name.strip().lower(), content.strip()[:1000]))


def _script(doc: Doc, node: LexborNode, attrs: dict[str, str | None]) -> None:
    kind = (attrs.get("type") or "").lower()
    (doc.ldjson if "ld+json" in kind else doc.scripts).append(node)


def _heading(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.headings.append(node)


def _title(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    if len(doc.titles) < 1:
        doc.titles.append(node.text()[:2000])


def _button(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.buttons.append(node)


def _link(doc: Doc, _node: LexborNode, attrs: dict[str, str | None]) -> None:
    doc.canonical = doc.canonical or attrs.get("href")


_BY_TAG = {
    "meta": _meta,
    "script": _script,
    "h1": _heading,
    "title": _title,
    "button": _button,
    "input": _button,
    "link": _link,
}


def where(node: LexborNode) -> str:
    """A short CSS path: up to the nearest id, at most four steps."""
    steps: list[str] = []
    at: LexborNode | None = node
    while at is not None and len(steps) < 4 and at.tag not in (None, "html", "-undef"):
        attrs = at.attributes
        name = attrs.get("id")
        kind = (attrs.get("class") or "").split()
        steps.append(f"{at.tag}#{name}" if name else ".".join([at.tag or "", *kind[:2]]))
        if name or at.tag == "body":
            break
        at = at.parent
    return " > ".join(reversed(steps))[:200]
