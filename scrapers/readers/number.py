"""The article number and the GTIN in sight, where no markup tells one."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

from selectolax.lexbor import LexborNode

from scrapers.model import Evidence
from scrapers.readers.columns import under_labels
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.readers.values import gtin
from scrapers.readers.words import Words

_CLASSES = frozenset(
    {
        "sku", "product-sku", "product__sku", "productView-sku", "product-number",
        "product-detail-ordernumber", "product-reference", "artnr", "product-code",
        "article-number", "artikelnummer",
    }
)  # fmt: skip
_LABEL = re.compile(r"\A[^\d:]{2,30}:\s*")
_NUMBER = re.compile(r"(?=[\w./+-]*\d)[\w][\w./+-]{1,39}\Z")
_SKU_LABEL = (
    r"(?:\bart(?:ikel|icle|ikkel|icolo|[íi]culo)?[. -]{0,2}(?:n(?:r|o|um|ummer|umber|[°º])|id|code)"
    r"\b\.?|\bsku\b|(?<!manufacturer )(?<!mfr )(?<!mfg )"
    r"\b(?:item|product|part|stock|model|cat(?:alogue)?|order)[ -]?"
    r"(?:no|number|code|nr|id)\b\.?|\bbest(?:ell)?\.?[ -]?(?:nr|nummer)\b\.?|"
    r"\bprodukt(?:nummer|kode|nr)\b\.?|\bvare?n(?:r|ummer)\b\.?|\bvarekode\b|"
    r"\br[ée]f(?:[ée]rence)?\b\.?|\bc[oó]d(?:ice|\.| produs)(?: ?(?:art\.|articolo|prodotto))?|"
    r"\brefer[êe]ncia\b|"
    r"(?<!\bel )(?<!\bcon )\bc[óo]digo(?: de(?:l)? (?:art[íi]culo|producto|produto))?\b|"
    r"\bkod(?: produktu)?\b|\bn(?:r|umer) kat(?:\.|alogowy\b)(?! producenta)|\bindeks\b|"
    r"\bk[óo]d(?: (?:produktu|tovaru|zbo[žz][íi]))?\b|"
    r"\bobj(?:\.|ednac[íi]) ?[čc](?:[íi]slo\b|\.)|\bcikksz[áa]m\b|\btuote(?:koodi|numero|nro)\b|"
    r"\breferencia\b|\bbestelnummer\b|\bproductcode\b|\b(?:model|item)\b(?=\s*[:#])|"
    r"\b(?:part|stock|cat(?:alog(?:ue)?)?\.?|order)(?=\s*#)|"
    r"(?<!coupon )(?<!promo )(?<!discount )(?<!use )(?<!with )\bcode\b(?=\s*:)|"
    r"(?:商品番号|商品コード|品番|型番|货号|商品编号|상품코드|모델명)(?=\W))"
)
_TOLD_SKU = Words(rf"{_SKU_LABEL}\s*[:#]?\s*(\w[^\s,;:()]{{1,39}})")
_TOLD_GTIN = Words(
    r"\b(?:ean|gtin|upc|isbn|barcode|strichcode|code[- ]barres?|streepjescode|kod kreskowy)"
    r"(?:[ /-]?(?:(?:8|12|13|14)(?!\d)|ean|gtin|upc|code|kod|nr|nummer|number))?\.?\s*[:#]?\s*"
    r"(97[89]-[\d-]{10,14}\d|\d{8}(?:\d{4,6})?)(?!\d)"
)
_COLON = re.compile(r"[:#]")
MAX_BLOCK = 8_000  # characters of the block around the heading
MAX_CLIMB = 7


def read(doc: Doc, places: Places, *, several: bool = False) -> tuple[str, Evidence] | None:
    """The number that an element named for it holds, without its label, else a labelled one.

    `several`: the page sells choices at several prices; one of their numbers tells nothing.
    """
    best: tuple[int, str, Evidence] | None = None
    for node in [n for n in doc.numbers if _is_number(n)][:20]:
        text = squeeze(node.text(separator=" ")[:200])
        number = _bare(text)
        if number is None:
            continue
        place = places.of(node)
        if place.zone not in ("other", "hidden") and (best is None or place.level < best[0]):
            best = (place.level, number, Evidence("visible", "sku", text[:80], where(node)))
    if best is None and (told := _bracketed(places)) is not None:
        return told
    if best:
        return best[1:]
    told = _labelled(places, _TOLD_SKU, "sku", several=several) or _in_column(places)
    return told or _addressed(doc, places)


# the number at the end of an address: "/rope-8-mm/-/A-84120071", "/p/rope-4711023.html"
_ADDRESS = re.compile(r"(?<![^\W_])\d{5,12}(?=(?:\.html?)?/?\Z)", re.ASCII)


def _addressed(doc: Doc, places: Places) -> tuple[str, Evidence] | None:
    """The number of the page's address where a label of the shop's own names it as well."""
    found = _ADDRESS.search(urlsplit(doc.url).path[-200:])
    if found is None:
        return None
    words = re.compile(rf"(?<!\w)[^\W\d_][\w .-]{{1,24}}?\s*[:#]\s*({found[0]})(?!\w)")
    return _labelled(places, words, "sku")


def _in_column(places: Places) -> tuple[str, Evidence] | None:
    """The number under its label, in a table of labels and one row."""
    for label, value, cell in under_labels(places):
        found = _TOLD_SKU.match(f"{label} #{value}")
        if found is not None and found[1] == value and (told := _worth(value)):
            return told, Evidence("visible", "sku", f"{label}: {value}"[:80], where(cell))
    return None


def read_gtin(places: Places) -> tuple[str, Evidence] | None:
    """A GTIN with a right check digit behind its label ("EAN: 4006381333931")."""
    return _labelled(places, _TOLD_GTIN, "gtin")


# "Long-can motor [KB-21]": how old catalogues print the model behind the name
_BRACKETS = re.compile(r"\[(?=[^\]]*\d)([\w][\w./+-]{2,39})\]\Z")


def _bracketed(places: Places) -> tuple[str, Evidence] | None:
    if places.heading is None:
        return None
    text = squeeze(places.text(places.heading)[:400])
    found = _BRACKETS.search(text)
    proof = Evidence("visible", "sku", text[-80:], where(places.heading))
    return (found[1], proof) if found else None


def _bare(text: str) -> str | None:
    number = _LABEL.sub("", text).strip()
    if not _NUMBER.match(number) and (told := _TOLD_SKU.match(text)):
        number = told[1]
    return number if _NUMBER.match(number) else None


def _labelled(
    places: Places, words: Words | re.Pattern[str], field: str, *, several: bool = False
) -> tuple[str, Evidence] | None:
    """The first such label in the smallest block around the heading that has one."""
    at = places.heading
    for _ in range(MAX_CLIMB):
        if at is None or at.tag in (None, "body", "html", "-undef"):
            return None
        text = places.text(at)
        if len(text) > MAX_BLOCK:
            return None
        text = squeeze(text)
        told = [(n, found[0]) for found in words.finditer(text) if (n := _valid(found, field))]
        if told and several and len({n for n, words in told if words[:3] == told[0][1][:3]}) > 1:
            return None  # each choice has a number of its own
        if told:
            return told[0][0], Evidence("visible", field, told[0][1][:80], where(at))
        at = at.parent
    return None


def _valid(found: re.Match[str], field: str) -> str | None:
    """The value behind a label; a bare word right behind one may be the next column's head."""
    if field == "gtin":
        return gtin(found[1])
    worth = _worth(found[1])
    bare = worth is not None and worth.isalpha() and not _COLON.search(found[0])
    return None if bare else worth


def _worth(text: str) -> str | None:
    """A number has a digit, or is capitals throughout ("CA-KIT")."""
    text = text.rstrip("./-")
    capital = len(text) > 2 and text.upper() == text and text.isascii()
    return text if _NUMBER.match(text) or capital else None


def _is_number(node: LexborNode) -> bool:
    attrs = node.attributes
    return (
        not _CLASSES.isdisjoint((attrs.get("class") or "").split())
        or attrs.get("id") == "product_reference"
        or "data-product-sku" in attrs
        or attrs.get("data-hook") == "sku"
    )
