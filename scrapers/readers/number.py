"""The article number in sight, where no markup tells one."""

from __future__ import annotations

import re

from scrapers.model import Evidence
from scrapers.readers.dom import Doc, where
from scrapers.readers.leaves import squeeze
from scrapers.readers.places import Places

_SELECTOR = (
    ".sku, .product-sku, .product__sku, .productView-sku, .product-number, "
    ".product-detail-ordernumber, "
    "#product_reference, .product-reference, [data-product-sku], [data-hook=sku], .artnr, "
    ".product-code, .article-number, .artikelnummer"
)
_LABEL = re.compile(r"\A[^\d:]{2,30}:\s*")
_NUMBER = re.compile(r"(?=[\w./+-]*\d)[\w][\w./+-]{1,39}\Z")


def read(doc: Doc, places: Places) -> tuple[str, Evidence] | None:
    """The number that an element named for it holds, without its label."""
    best: tuple[int, str, Evidence] | None = None
    for node in doc.tree.css(_SELECTOR)[:20]:
        text = squeeze(node.text()[:200])
        number = _LABEL.sub("", text).strip()
        if not _NUMBER.match(number):
            continue
        place = places.of(node)
        if place.zone not in ("other", "hidden") and (best is None or place.level < best[0]):
            best = (place.level, number, Evidence("visible", "sku", text[:80], where(node)))
    return best[1:] if best else None
