"""One parse and one selector pass: the elements that the readers ask for, in page order."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field

import re2
from selectolax.lexbor import LexborHTMLParser, LexborNode

from scrapers.readers.names import CALLED, NAMES, NUMBERED, PRICED, STOCKED, TIERED
from scrapers.readers.shadow import has_templates, opened


@dataclass(slots=True)
class Doc:
    """A parsed page with its elements sorted by what they may tell."""

    tree: LexborHTMLParser
    url: str
    text: str | None = None
    raw: bytes = b""
    lang: str | None = None
    titles: list[str] = field(default_factory=list)
    headings: list[LexborNode] = field(default_factory=list)
    metas: list[tuple[str, str]] = field(default_factory=list)
    scripts: list[LexborNode] = field(default_factory=list)
    styles: list[LexborNode] = field(default_factory=list)
    ldjson: list[LexborNode] = field(default_factory=list)
    itemprops: list[LexborNode] = field(default_factory=list)
    properties: list[LexborNode] = field(default_factory=list)
    priced: list[LexborNode] = field(default_factory=list)
    stocks: list[LexborNode] = field(default_factory=list)
    buttons: list[LexborNode] = field(default_factory=list)
    selects: list[LexborNode] = field(default_factory=list)
    labels: list[LexborNode] = field(default_factory=list)
    tables: list[LexborNode] = field(default_factory=list)
    islands: list[LexborNode] = field(default_factory=list)  # elements with their state in "props"
    tiers: list[LexborNode] = field(default_factory=list)
    numbers: list[LexborNode] = field(default_factory=list)
    canonical: str | None = None
    _texts: dict[int, str] = field(default_factory=dict)
    _priced: list[tuple[int, LexborNode, str]] | None = None

    @property
    def html(self) -> str:
        """The page as text, decoded when first asked for."""
        if self.text is None:
            self.text = self.raw.decode("utf-8", "replace")
        return self.text

    def script_text(self, node: LexborNode) -> str:
        """The text of one of the scripts, fetched once for all who search it."""
        text = self._texts.get(node.mem_id)
        if text is None:
            text = self._texts[node.mem_id] = node.text()
        return text

    def priced_scripts(self) -> list[tuple[int, LexborNode, str]]:
        """The scripts that speak of a price: their number on the page, element and text."""
        if self._priced is None:
            texts = ((n, s, self.script_text(s)) for n, s in enumerate(self.scripts[:MAX_SCRIPTS]))
            self._priced = [t for t in texts if "rice" in t[2]]
        return self._priced


MAX_SCRIPTS = 300


_TABLES = frozenset(
    [
        "data-product_variations",
        "data-product",
        "data-variants",
        "data-product-json",
        "data-product-price",
    ]
)
_MARKED = frozenset({"itemprop", "itemscope"})
_RDFA = frozenset({"property", "typeof", "rel"})
_AMOUNTS = frozenset({"data-price-amount", "data-price"})
_MUTE = frozenset(
    [
        "svg",
        "img",
        "picture",
        "path",
        "use",
        "g",
        "circle",
        "rect",
        "line",
        "polygon",
        "br",
        "hr",
        "source",
        "option",
        "head",
        "html",
    ]
)
_NUMBERS = frozenset({"data-product-sku", "data-hook"})
_CALLED = frozenset(CALLED)
_RARE = _TABLES | _MARKED | _RDFA | _AMOUNTS | _NUMBERS | _CALLED | {"id", "props"}


def parse(html: str | None, url: str, raw: bytes | None = None) -> Doc:
    """Parse once, select once. `html`: decoded text within the structure limits.

    `raw`: the same as UTF-8 bytes, where they are at hand; then `html` may be None.
    """
    if has_templates(html or "" if raw is None else raw):
        html = opened(html if html is not None else (raw or b"").decode("utf-8", "replace"))
        raw = html.encode("utf-8", "replace")
    tree = LexborHTMLParser((html or "") if raw is None else raw)
    doc = Doc(tree, url, html, raw or b"")
    root = tree.root
    if root is None:
        return doc
    doc.lang = (root.attributes.get("lang") or "").strip() or None
    for part in _parts(tree, doc.raw):
        _take(doc, part)
    return doc


def _take(doc: Doc, nodes: Iterable[LexborNode]) -> None:
    """Each element into the lists of those who want it."""
    names, plain, mute, by_tag, known = NAMES, _RARE.isdisjoint, _MUTE_IDS, _BY_TAG_ID, _KNOWN_IDS
    for node in nodes:
        kind = node.tag_id
        if kind not in known:
            attrs = node.attributes
        elif kind in mute:
            continue
        else:
            attrs = node.attributes
            by_tag[kind](doc, node, attrs)
        if not attrs:
            continue
        mark = 0
        if "class" in attrs:
            mark = names[attrs["class"]]
            if not mark and len(attrs) == 1:
                continue
        rare = not plain(attrs)
        if rare and "id" in attrs:
            mark |= names[attrs["id"]]
        if mark or rare:
            _sort(doc, node, kind, mark, attrs if rare else _NONE)


# What tells something wherever it stands; of menus and footers nothing else is asked for.
_FEW = "script, h1, [itemprop], [itemscope]"
_TELLING = (
    f"{_FEW}, [data-product], [data-product_variations], [data-variants], [data-product-json]"
)
_DATA = re2.compile(
    b"data-(?:product|variants)"
)  # a search of the bytes costs less than a selector
MAX_SHALLOW = 3  # levels of boxes in which a page's menus and footers are looked for


def _parts(tree: LexborHTMLParser, raw: bytes) -> Iterator[Iterable[LexborNode]]:
    """The page in order, in runs of elements; of its menus and footers only what tells."""
    body = tree.body
    telling = _FEW if raw and _DATA.search(raw) is None else _TELLING
    for top in tree.root.iter() if tree.root is not None else ():
        if body is not None and top.mem_id == body.mem_id:
            yield from _inside(body, 0, telling)
        else:
            yield top.traverse()


def _inside(box: LexborNode, depth: int, telling: str) -> Iterator[Iterable[LexborNode]]:
    yield (box,)
    for child in box.iter():
        tag = child.tag
        aside = tag in ("nav", "footer") or (tag == "header" and depth == 0)
        told = child.css(telling) if aside else None
        if told is not None and all(n.tag_id != _H1 for n in told):
            yield _once(told)
        elif tag == "div" and depth < MAX_SHALLOW:
            yield from _inside(child, depth + 1, telling)
        else:
            yield child.traverse()


def _once(nodes: list[LexborNode]) -> list[LexborNode]:
    """Without repeats: an element that two selectors find comes twice, one after the other."""
    return [n for i, n in enumerate(nodes) if i == 0 or n.mem_id != nodes[i - 1].mem_id]


_NONE: dict[str, str | None] = {}


def _sort(doc: Doc, node: LexborNode, kind: int, mark: int, rare: dict[str, str | None]) -> None:
    """An element whose name or attributes tell something, into the lists of those who want it."""
    if kind >= _FIXED and node.tag in _MUTE:
        return
    if rare:
        mark |= _marked(doc, node, rare)
    if kind in _NO_TEXT_IDS:
        return
    if mark & PRICED and kind not in _STRUCK_IDS:
        doc.priced.append(node)
    if mark & STOCKED:
        doc.stocks.append(node)
    if mark & TIERED:
        doc.tiers.append(node)
    if mark & NUMBERED:
        doc.numbers.append(node)


def _marked(doc: Doc, node: LexborNode, attrs: dict[str, str | None]) -> int:
    """An element with attributes of markup: into their lists; what its amounts make it."""
    mark = PRICED * (not _AMOUNTS.isdisjoint(attrs))
    if not _MARKED.isdisjoint(attrs):
        doc.itemprops.append(node)
        mark |= PRICED * (attrs.get("itemprop") == "price")
    if not _RDFA.isdisjoint(attrs):
        doc.properties.append(node)
    if not _TABLES.isdisjoint(attrs):
        doc.tables.append(node)
    if "props" in attrs:
        doc.islands.append(node)
    if not _CALLED.isdisjoint(attrs):
        for name in CALLED:
            if name in attrs:
                mark |= NAMES[attrs[name]]
    return mark | NUMBERED * (not _NUMBERS.isdisjoint(attrs))


_NO_TEXT = ("meta", "script", "link", "style", "template", "html", "body", "img", "input")
_STRUCK = ("ins", "del", "s", "strike")


def _meta(doc: Doc, _node: LexborNode, attrs: dict[str, str | None]) -> None:
    name = attrs.get("property") or attrs.get("name") or ""
    content = attrs.get("content")
    if name and content is not None and len(doc.metas) < 500:
        doc.metas.append((name.strip().lower(), content.strip()[:1000]))


def _script(doc: Doc, node: LexborNode, attrs: dict[str, str | None]) -> None:
    kind = (attrs.get("type") or "").lower()
    (doc.ldjson if "ld+json" in kind else doc.scripts).append(node)


def _style(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.styles.append(node)


def _heading(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.headings.append(node)


def _title(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    if len(doc.titles) < 1:
        doc.titles.append(node.text()[:2000])


def _button(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.buttons.append(node)


def _select(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.selects.append(node)


def _label(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.labels.append(node)


def _input(doc: Doc, node: LexborNode, attrs: dict[str, str | None]) -> None:
    if (attrs.get("type") or "").lower() in ("submit", "button", "image"):
        doc.buttons.append(node)


def _struck(doc: Doc, node: LexborNode, _attrs: dict[str, str | None]) -> None:
    doc.priced.append(node)


def _link(doc: Doc, _node: LexborNode, attrs: dict[str, str | None]) -> None:
    if (attrs.get("rel") or "").lower() == "canonical":
        doc.canonical = doc.canonical or attrs.get("href")


_BY_TAG = {
    "meta": _meta,
    "script": _script,
    "style": _style,
    "h1": _heading,
    "title": _title,
    "button": _button,
    "input": _input,
    "select": _select,
    "label": _label,
    "link": _link,
    **dict.fromkeys(_STRUCK, _struck),
}


def _numbers(names: Collection[str]) -> dict[int, str]:
    """The parser's numbers of tag names; it has fixed ones for most, others change by page."""
    tree = LexborHTMLParser("".join(f"<{name}></{name}>" for name in names))
    found = tree.root.css("*") if tree.root is not None else []
    return {n.tag_id: n.tag for n in found if n.tag and n.tag in names and n.tag_id < _FIXED}


_FIXED = 1 << 10
_H1 = next(iter(_numbers(["h1"])))
_MUTE_IDS = frozenset(_numbers(_MUTE))
_BY_TAG_ID = {number: _BY_TAG[name] for number, name in _numbers(_BY_TAG).items()}
_KNOWN_IDS = _MUTE_IDS | _BY_TAG_ID.keys()
_NO_TEXT_IDS = frozenset(_numbers(_NO_TEXT))
_STRUCK_IDS = frozenset(_numbers(_STRUCK))


def where(node: LexborNode) -> str:
    """A short CSS path: up to the nearest id, at most four steps."""
    steps: list[str] = []
    at: LexborNode | None = node
    while at is not None and len(steps) < 4 and (tag := at.tag) not in (None, "html", "-undef"):
        attrs = at.attributes
        name = attrs.get("id")
        kind = (attrs.get("class") or "").split()
        steps.append(f"{tag}#{name}" if name else ".".join([tag or "", *kind[:2]]))
        if name or tag == "body":
            break
        at = at.parent
    path = " > ".join(reversed(steps))[:200]
    return path if path.isprintable() else "".join(c for c in path if c.isprintable())
