"""Microdata and RDFa Lite: attributes into the items that `schema.products` reads."""

from __future__ import annotations

import re
from typing import Any

from selectolax.lexbor import LexborNode

from scrapers.model import Source
from scrapers.readers.claims import Product
from scrapers.readers.dom import Doc, where
from scrapers.readers.schema import products
from scrapers.readers.vocab import hangs_by, modern

MAX_MARKED = 20_000
MAX_CLIMB = 600
_LINKS = {"a": "href", "link": "href", "area": "href", "img": "src", "object": "data",
          "time": "datetime", "data": "value", "meter": "value"}  # fmt: skip
_PREFIX = re.compile(r"^(?:https?://schema\.org/|schema:)")
_OTHER_VOCAB = re.compile(r"^(?:og|product|twitter|fb|article|book|profile|al|music|video|place):")
# properties that are words, never addresses: a link around one is meant by its text
_NAMING = re.compile(r"\b(?:brand|manufacturer|name|sku|mpn|gtin\d*|model)\b")
Item = dict[str, Any]


def value_of(node: LexborNode, attrs: dict[str, str | None]) -> str:
    """The value of a property element (HTML Standard, microdata, 5.2.4; `content` everywhere).

    Themes mark a linked brand or name against the standard: its text is taken, not its address.
    """
    content = attrs.get("content")
    if content is not None:
        return content
    name = _LINKS.get(node.tag or "")
    if node.tag == "a" and _NAMING.search(attrs.get("itemprop") or attrs.get("property") or ""):
        picture = node.css_first("img[alt]")
        named = (picture.attributes.get("alt") or "") if picture is not None else ""
        return node.text()[:2000].strip() or named
    if name is not None and attrs.get(name):
        return attrs[name] or ""
    return node.text()[:2000].strip()


class _Tree:
    """Finds the item that an element belongs to; climbs once an ancestor."""

    def __init__(self) -> None:
        self.items: dict[int, Item] = {}
        self.owner: dict[int, Item | None] = {}

    def of(self, node: LexborNode) -> Item | None:
        path: list[int] = []
        at = node.parent
        found: Item | None = None
        while at is not None and len(path) < MAX_CLIMB:
            key = at.mem_id
            if key in self.items:
                found = self.items[key]
                break
            if key in self.owner:
                found = self.owner[key]
                break
            path.append(key)
            at = at.parent
        for key in path:
            self.owner[key] = found
        return found


def _put(item: Item, names: str, value: Any) -> None:
    for raw in names.split()[:8]:
        name = _PREFIX.sub("", raw)
        if name in item:
            held = item[name]
            item[name] = [*held, value] if isinstance(held, list) else [held, value]
        else:
            item[name] = value


def read(doc: Doc) -> list[Product]:
    """Products of the page's microdata."""
    tree = _Tree()
    roots: list[tuple[str, Item]] = []
    loose: Item = {}
    waiting: dict[str, list[Item]] = {}
    for node in doc.itemprops[:MAX_MARKED]:
        attrs = node.attributes
        names = attrs.get("itemprop") or ""
        owner = tree.of(node) if names else None
        if "itemscope" in attrs:
            value: Any = {"@type": (attrs.get("itemtype") or "").split()}
            if attrs.get("itemid"):
                value["@id"] = attrs["itemid"]
            tree.items[node.mem_id] = value
            for ref in (attrs.get("itemref") or "").split():
                waiting.setdefault(ref, []).append(value)
        else:
            value = value_of(node, attrs)
        if owner is None and names:
            owner = _referred(node, waiting)
        if owner is not None:
            _put(owner, names, value)
        elif isinstance(value, dict):
            roots.append((where(node), value))
        elif names:
            _put(loose, names, value)
    return _with_loose(roots, loose)


def _referred(node: LexborNode, waiting: dict[str, list[Item]]) -> Item | None:
    """The item that names this element or one around it in its itemref."""
    at: LexborNode | None = node
    climbed = 0
    while waiting and at is not None and climbed < MAX_CLIMB:
        name = at.attributes.get("id")
        if name and name in waiting:
            return waiting[name][0]
        at = at.parent
        climbed += 1
    return None


def _with_loose(roots: list[tuple[str, Item]], loose: Item) -> list[Product]:
    """Properties outside any item: themes that forgot the scope still mean the product."""
    if "price" in loose and not any("Product" in str(i.get("@type")) for _, i in roots):
        offer = {k: loose[k] for k in ("price", "priceCurrency", "availability") if k in loose}
        roots.append(("[itemprop=price]", {"@type": ["Product"], **loose, "offers": offer}))
    return products([(path, modern(item)) for path, item in roots], Source.MICRODATA)


def read_rdfa(doc: Doc) -> list[Product]:
    """Products of the page's RDFa Lite (vocab, typeof, property, resource, prefix schema:)."""
    if not any("typeof" in n.attributes for n in doc.properties):
        return []
    tree = _Tree()
    roots: list[tuple[str, Item]] = []
    for node in doc.properties[:MAX_MARKED]:
        attrs = node.attributes
        names = attrs.get("property") or (attrs.get("rel") if "typeof" in attrs else "") or ""
        names = names or hangs_by(attrs.get("typeof"))
        if _OTHER_VOCAB.match(names):
            continue
        owner = tree.of(node) if names else None
        value: Any
        if "typeof" in attrs:
            value = {"@type": (attrs.get("typeof") or "").split()}
            name = attrs.get("resource") or attrs.get("about")
            if name:
                value["@id"] = name
            tree.items[node.mem_id] = value
        else:
            value = attrs.get("resource") or value_of(node, attrs)
        if owner is not None:
            _put(owner, names, value)
        elif isinstance(value, dict):
            roots.append((where(node), value))
    return products([(path, modern(item)) for path, item in roots], Source.RDFA)
