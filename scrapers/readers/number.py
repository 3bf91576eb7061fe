"""The article number in sight, where no markup tells one."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborNode

from scrapers.model import Evidence
from scrapers.readers.dom import Doc, where
from scrapers.readers.leaves import squeeze
from scrapers.readers.places import Places

_CLASSES = frozenset(
    {
        "sku", "product-sku", "product__sku", "productView-sku", "product-number",
        "product-detail-ordernumber", "product-reference", "artnr", "product-code",
        "article-number", "artikelnummer",
    }
)  # fmt: skip
_LABEL = re.compile(r"\A[^\d:]{2,30}:\s*")
_NUMBER = re.compile(r"(?=[\w./+-]*\d)[\w][\w./+-]{1,39}\Z")


def read(doc: Doc, places: Places) -> tuple[str, Evidence] | None:
    """The number that an element named for it holds, without its label."""
    best: tuple[int, str, Evidence] | None = None
    for node in [n for n in doc.numbers if _is_number(n)][:20]:
        text = squeeze(node.text()[:200])
        number = _LABEL.sub("", text).strip()
        if not _NUMBER.match(number):
            continue
        place = places.of(node)
        if place.zone not in ("other", "hidden") and (best is None or place.level < best[0]):
            best = (place.level, number, Evidence("visible", "sku", text[:80], where(node)))
    return best[1:] if best else None


def _is_number(node: LexborNode) -> bool:
    attrs = node.attributes
    return (
        not _CLASSES.isdisjoint((attrs.get("class") or "").split())
        or attrs.get("id") == "product_reference"
        or "data-product-sku" in attrs
        or attrs.get("data-hook") == "sku"
    )
