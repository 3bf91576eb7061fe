"""The element that names the page's product: an h1, or what stands for one where there is none."""

# ruff: noqa: RUF001  # the dashes of page titles look alike on purpose

from __future__ import annotations

import re
from urllib.parse import urlsplit

from selectolax.lexbor import LexborNode

from scrapers.readers import labels
from scrapers.readers.dom import Doc
from scrapers.readers.ordering import orderers
from scrapers.readers.pricelike import is_price_like, squeeze

MAX_NODES = 1_500
MAX_NAME = 200
_WORD = re.compile(r"[^\W\d_]{3,}")
_PARTS = re.compile(r"\s+[-–—|»·•/]+\s+|\s*(?:::|\|)\s*|:\s+")
_BARE = re.compile(r"[\W_]+")
_NAMED = 'h2, h3, h4, [itemprop="name"], [class*="title" i], [class*="name" i]'
_PLAIN = "h2, h3, h4, td, th, font, b, strong, big, span, div, p, dt, caption, center"
_BOLD = (
    'h2, h3, h4, [class*="title" i], [class*="name" i], [class*="heading" i], font[size], big, '
    "b, strong"
)


def heading_of(doc: Doc, names: list[str]) -> LexborNode | None:
    """The h1 that names the product; among several the one that other titles repeat."""
    heads = [h for h in doc.headings[:30] if h.text().strip()]
    heads = [h for h in heads if _WORD.search(h.text())] or heads  # one theme's price is an h1
    known = [n.casefold() for n in (*names, *doc.titles) if n]
    if len(heads) == 1:
        return _below_logo(heads[0], doc, known) or heads[0]
    own = [h for h in heads if not (_leads_home(h) or _is_logo(h, doc))]
    for name in known:
        for head in own or heads:
            text = squeeze(head.text()).casefold()
            if text and (text in name or name in text):
                return head
    if heads:
        return max(heads, key=lambda h: (_named_by(h, known), not _leads_home(h)))
    found = _unmarked(doc, known) or _shared(doc, known)
    return found or (None if names else _called(doc) or _ordered(doc) or _beside_price(doc))


def _below_logo(head: LexborNode, doc: Doc, known: list[str]) -> LexborNode | None:
    """What names the product on a page whose h1 is the shop's own name."""
    if _is_logo(head, doc) or _is_of_shop(head, doc):
        return _unmarked(doc, known)
    return _ordered(doc) if _leads_home(head) else None


def _leads_home(head: LexborNode) -> bool:
    """An h1 that is a link to the shop's first page."""
    link = head.css_first("a[href]")
    return link is not None and (link.attributes.get("href") or "").strip() in _HOME


_HOME = frozenset({"/", "./", "../", "/index.html", "/index.php"})


def _is_logo(head: LexborNode, doc: Doc) -> bool:
    """An h1 around the shop's own name, linked or pictured, on a page with more in its title."""
    text = squeeze(head.text()).casefold()
    titled = any(len(squeeze(t)) > len(text) + 3 for t in doc.titles)
    return titled and head.css_first("a, img") is not None and _is_shop(text, _host(doc.url))


def _is_of_shop(head: LexborNode, doc: Doc) -> bool:
    """An h1 whose words end the page's title, behind the name of the thing: the shop's motto."""
    text = squeeze(head.text()).casefold()
    title = squeeze(doc.titles[0]).casefold() if doc.titles else ""
    parts = [p for p in _PARTS.split(title) if len(p) > 3]
    return (
        len(parts) > 1
        and len(text) > 3
        and (text in parts[1:] or parts[-1] in text)
        and (parts[0] not in text and text not in parts[0])
    )


def _named_by(head: LexborNode, known: list[str]) -> bool:
    """Whether a known title has most of the heading's words."""
    words = set(_WORD.findall(squeeze(head.text(separator=" ")[:400]).casefold()))
    return any(len(words & set(_WORD.findall(n))) * 2 > len(words) > 0 for n in known)


def _unmarked(doc: Doc, known: list[str]) -> LexborNode | None:
    """A page without h1: the element that repeats a known title, or one part of it."""
    if not known or doc.tree.body is None:
        return None
    host = _host(doc.url)
    for node in doc.tree.body.css(_NAMED)[:300]:
        text = squeeze(node.text()[:400]).casefold()
        said = len(text) > 3 and any(_repeats(text, n) for n in known)
        if said and not _is_shop(text, host):
            return node
    parts = {p for n in known for p in _PARTS.split(squeeze(n)) if len(p) > 3}
    parts = {p for p in parts if not _is_shop(p, host)}
    texts = (
        (node, squeeze(node.text(deep=False)[:MAX_NAME]).casefold())
        for node in doc.tree.body.css(_PLAIN)[:MAX_NODES]
    )
    found = [(node, text) for node, text in texts if text in parts or _begins(text, parts)]
    longest = max((len(text) for _, text in found), default=0)
    return next((node for node, text in found if len(text) == longest), None)


def _repeats(text: str, name: str) -> bool:
    """The same, a part of the known title, or the known title and a little more."""
    longer = len(name) > 8 and text.startswith(name) and len(text) <= 2 * len(name)
    return text == name or (len(text) > 8 and text in name) or longer


def _begins(text: str, parts: set[str]) -> bool:
    """A longer name that begins with a part of the title ("Rod 8 mm" and "Rod 8 mm, 1 m")."""
    return any(len(p) > 9 and text.startswith(p) and len(text) <= 2 * len(p) for p in parts)


def _host(url: str) -> str:
    try:
        return _BARE.sub("", urlsplit(url).hostname or "")
    except ValueError:
        return ""


def _is_shop(text: str, host: str) -> bool:
    """Whether a text is the shop's own name, as its address has it."""
    bare = _BARE.sub("", text.casefold())
    return len(bare) > 3 and bare in host


def _shared(doc: Doc, known: list[str]) -> LexborNode | None:
    """The first lower heading that shares two words with a known title."""
    names = [set(_WORD.findall(n)) for n in known]
    host = _host(doc.url)
    for node in doc.tree.css("h2, h3")[:40]:
        text = squeeze(node.text()[:400]).casefold()
        words = set(_WORD.findall(text))
        if any(len(words & name) > 1 for name in names) and not _is_shop(text, host):
            return node
    return None


def _ordered(doc: Doc) -> LexborNode | None:
    """The title-like text nearest above the one thing on the page that can be ordered."""
    buttons = orderers(doc)
    if not 0 < len(buttons) < 4:
        return None
    at = buttons[0].parent
    for _ in range(8):
        if at is None or at.tag in ("body", "html"):
            break
        for node in at.css(_BOLD)[:12]:
            if _is_name(squeeze(node.text(separator=" ")[:400])):
                return node
        at = at.parent
    return None


_TITLES = ", ".join(
    f'[class*="{name}" i], [id*="{name}" i]'
    for name in ("pageheading", "product-title", "producttitle", "product_title", "product-name",
                 "productname", "product_name", "itemname", "item_name", "item-name")
)  # fmt: skip


def _called(doc: Doc) -> LexborNode | None:
    """The one element that a theme calls the product's name, not a link as those of lists are."""
    if doc.tree.body is None:
        return None
    found = [n for n in doc.tree.body.css(_TITLES)[:40] if not _is_linked(n)]
    named = [n for n in found if _is_name(squeeze(n.text(separator=" ")[:400]))]
    return named[0] if named else None


def _is_linked(node: LexborNode) -> bool:
    return node.css_first("a[href]") is not None or _in_link(node)


def _beside_price(doc: Doc) -> LexborNode | None:
    """The title without a link in the box of the first amount that an element is named for."""
    priced = (n for n in doc.priced[:MAX_PRICED] if is_price_like(n.text()[:MAX_NAME]))
    boxes = {box.mem_id: box for price in priced if (box := price.parent) is not None}
    for box in boxes.values():
        if box.tag == "body" or len(box.text()) > MAX_BOX:
            continue
        for node in box.css("h2, h3, h4, h5")[:4]:
            if not _is_linked(node) and _is_name(squeeze(node.text(separator=" ")[:400])):
                return node
    return None


MAX_PRICED, MAX_BOX = 60, 2_000


def _in_link(node: LexborNode) -> bool:
    at = node.parent
    for _ in range(4):
        if at is None or at.tag == "a":
            return at is not None
        at = at.parent
    return False


def _is_name(text: str) -> bool:
    return (
        3 < len(text) <= MAX_NAME
        and _WORD.search(text) is not None
        and not text.endswith(":")
        and not labels.CURRENT.search(text)
        and not is_price_like(text)
    )
