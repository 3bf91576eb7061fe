"""Labelled details in sight: brand, maker's number and GTIN in rows, lists and lines of text.

A label is a text of its own ("Brand", "Merk:", "メーカー"); its value is what stands right
behind it, in the same text, beside it, or in the next cell.
"""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import islice
from typing import NamedTuple

import re2
from selectolax.lexbor import LexborNode

from scrapers.model import Evidence
from scrapers.readers import nearbrand
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.readers.values import brand_name, gtin

_BRAND = (
    r"(?:product )?brand(?: ?name)?|marque|merk(?:naam)?|markenname|marke|marca|marka|zna[čc]ka|"
    r"varum[äa]rke|m[äa]rke|m[æa]rke|varem[æe]rke|merke|merkki|tuotemerkki|br[äa]nd|m[áa]rka|"
    r"brend|бренд|марка|торгова марка|торговая марка|μάρκα|vendor|ブランド(?:名)?|品牌|브랜드"
)
_MAKER = (
    r"manufacturer(?: name)?|manufactured by|mfr|mfg|maker|made by|fabricant|fabrikant|hersteller|"
    r"fabricante|produttore|producent|producer|v[ýy]robc[ea]|tillverkare|fabrikat|produsent|"
    r"valmistaja|gy[áa]rt[óo]|produc[ăa]tor|proizvo[đd]a[čc]|proizvajalec|tootja|gamintojas|"
    r"ra[žz]ot[āa]js|üretici|производитель|виробник|производител|κατασκευαστής|"
    r"メーカー(?:名)?|製造元|制造商|生产商|제조사"
)
_PART = (
    r"mpn|p/n|(?:mfr|mfg|mnfr|manufacturers?|manufacturer[’']?s|oem|maker[’']?s?)\.?[ -]?"
    r"(?:part|product|item|model|catalogue|sku|ref|code|no|number|nr)\b\.?"
    r"(?: ?(?:code|no|number|nr|#))?\.?|"
    r"hersteller[- ]?(?:artikel|teile)?[- ]?(?:nr|nummer|code)\.?|hersteller-?art\.?-?nr\.?|"
    r"hersteller-?referenz|"
    r"r[ée]f(?:[ée]rence)?\.? (?:du )?fabri(?:c|q)ant|fabrikant(?:en)?(?:code|nummer|nr)|"
    r"codice (?:del )?produttore|(?:ref(?:erencia)?|c[óo]digo)\.? (?:del |de )?fabricante|"
    r"(?:kod|symbol) producenta|numer katalogowy producenta|k[óo]d v[ýy]robc[eu]|tillverkarens? "
    r"(?:art(?:ikel)?\.?n(?:r|ummer)|artikelnr)|producentens? varenummer|"
    r"gy[áa]rt[óo]i (?:cikk)?sz[áa]m|"
    r"(?:メーカー|製造元)(?:品番|型番|商品コード|リファレンス|部品番号)|артикул производителя"
)
_CODE = (
    r"(?:ean|gtin|upc|jan|isbn|barcode|bar code|strichcode|code[- ]barres?|streepjescode|"
    r"c[óo]digo de barras|codice a barre|kod kreskowy|[čc][áa]rov[ýy] k[óo]d|vonalk[óo]d|"
    r"viivakoodi|streckkod|strekkode|stregkode|штрих-?код|barkod|バーコード|条形码|바코드)"
    r"(?:[ /(-]{0,2}(?:8|12|13|14|a|ean|gtin|upc|jan|isbn|code|kod|k[óo]d|koodi|nr|no|nummer|"
    r"number|コード)\b\)?){0,3}\.?"
)
_MODEL = (
    r"(?:model(?:l[oe]?|e|o)?|mod[èe]le|malli)"
    r"(?:[ -]?(?:no|nr|number|nummer|num|code|name|bezeichnung|#))?\.?"
)
_KINDS = (
    ("brand", _BRAND), ("maker", _MAKER), ("mpn", _PART), ("model", _MODEL), ("gtin", _CODE),
)  # fmt: skip
_LABELS = tuple(
    (kind, re.compile(rf"[\W_]{{0,3}}(?:{words})\s*(?:$|[:：#]\s*|\s[-–]\s)(.*)", re.IGNORECASE))
    for kind, words in _KINDS
)
_WIDE = "|".join(words for _, words in _KINDS).replace(r"\b", "")  # RE2's edges know ASCII only
_START = rf"(?:\s|&nbsp;)*((?:{_WIDE}))\s{{0,9}}(?:[:<#]|：| -)"
# one look at the bytes finds the labels that stand at the start of a text
_STARTS = re2.compile(f"(?i)>{_START}")
# what parts the labels of one line; looked for near the heading only, for it costs thrice as much
_BEHIND = re2.compile(f"(?i)[·•／]{_START}")
MAX_NEAR = 12_000
MAX_STARTS = 60
MAX_BEFORE, MAX_LOOKED = 4_000, 100_000  # bytes before the first heading, and in all
_TAGS = "dt, th, td, label, b, strong, span, li, p, div, a, em, i, h3, h4, h5, h6, font, small"
_SKIPPED = frozenset({"i", "svg", "img", "meta", "link", "input"})
_NO_VALUE = frozenset({"select", "ul", "ol", "table", "form", "button", "dl", "br", "dt", "th"})
_ROWS = frozenset({"tr", "li", "dl", "ul", "table", "body", "form"})
_LINES = frozenset({"p", "div", "td", "li", "span"})
MAX_NODES = 12_000
MAX_OWN = 160  # characters of an element's own text: longer ones are prose
MAX_VALUE = 60
MAX_WORDS = 5
_DIGITS = re.compile(r"\d{8,14}|\d[\d -]{8,20}\d")
_PART_VALUE = re.compile(r"(?=[^\s]{0,39}[\dA-Z])[\w][\w./+#-]{1,39}")


class Details(NamedTuple):
    """What labels tell, each None where none does, and where it stood.

    `modelled`: the maker's number stands behind "Model" alone, where old shops print their own.
    """

    brand: str | None = None
    mpn: str | None = None
    gtin: str | None = None
    evidence: tuple[Evidence, ...] = ()
    modelled: bool = False


def read(doc: Doc, places: Places) -> Details:
    """The labelled details nearest the heading, the page's own; nothing where no label stands."""
    starts = _starts(doc)
    if doc.tree.body is None or not starts:
        return _by_name(places)
    best: dict[str, tuple[int, int, str, LexborNode]] = {}
    for order, node in enumerate(doc.tree.body.css(_TAGS)[:MAX_NODES]):
        own = node.text(deep=False)
        if not own or len(own) > MAX_OWN or not any(start in own for start in starts):
            continue
        for kind, value in _in(node):
            place = places.of(node)
            rank = (place.level + 50 * (place.zone == "hidden"), order)
            if place.zone != "other" and (kind not in best or rank < best[kind][:2]):
                best[kind] = (*rank, value, node)
    made = _made(best)
    if made.brand is not None:
        return made
    named = _by_name(places)
    return made._replace(brand=named.brand, evidence=(*made.evidence, *named.evidence))


def _by_name(places: Places) -> Details:
    """The brand alone, where an element or an attribute beside the heading is named for it."""
    found = nearbrand.named(places)
    return Details(found[0], evidence=(found[1],)) if found else Details()


def _starts(doc: Doc) -> set[str]:
    """The labels that stand at the start of a text; bytes are searched much faster.

    From a little before the first heading on, for what the page tells of its own thing.
    """
    page, heading = doc.raw or doc.html, b"<h1" if doc.raw else "<h1"
    start = max(page.find(heading) - MAX_BEFORE, 0)  # type: ignore[arg-type]  # of its own kind
    looks = ((_STARTS, MAX_LOOKED), (_BEHIND, MAX_NEAR))
    found = (m for p, n in looks for m in islice(p.finditer(page, start, start + n), MAX_STARTS))
    words = (m[1] for m in found)
    return {w.decode("utf-8", "replace") if isinstance(w, bytes) else w for w in words}


def _made(best: dict[str, tuple[int, int, str, LexborNode]]) -> Details:
    found = {"brand": best.get("brand") or best.get("maker")}
    found |= {"mpn": best.get("mpn") or best.get("model"), "gtin": best.get("gtin")}
    told = {kind: one for kind, one in found.items() if one is not None}
    values = {kind: one[2] for kind, one in told.items()}
    proofs = [Evidence("visible", kind, one[2], where(one[3])) for kind, one in told.items()]
    return Details(**values, evidence=tuple(proofs), modelled=found["mpn"] is best.get("model"))


def _in(node: LexborNode) -> list[tuple[str, str]]:
    """The labels among an element's own texts, with their values."""
    texts = (child for child in node.iter(include_text=True) if child.is_text_node)
    lines = ((text, line) for text in texts for line in (text.text_content or "").splitlines())
    found = (
        _labelled(text if n == 0 else None, part)
        for text, line in lines
        for n, part in enumerate(_PARTS.split(squeeze(line))[::-1])
    )
    return [one for one in found if one is not None]


# "JAN: 4006381333931 / メーカー: X": what stands before the next label of a line
_PARTS = re.compile(r"\s*[／|｜]\s*(?=[^:：]{2,30}[:：])|\s+[/•·]\s+(?=[^:：]{2,30}[:：])")


def _labelled(text: LexborNode | None, line: str) -> tuple[str, str] | None:
    """A label with its value behind it in the line, or behind `text`, whose end the line is."""
    if not line:
        return None
    for kind, pattern in _LABELS:
        found = pattern.match(line)
        if found is None:
            continue
        value = _VALUES[kind](found[1].strip() or (_behind(text) if text else "") or "")
        if value is not None:
            return kind, value
    return None


def _behind(text: LexborNode) -> str | None:
    """The text right behind a label: beside it, or beside the elements that hold nothing else."""
    at: LexborNode | None = text
    for _ in range(4):
        if at is None:
            return None
        beside = _next(at)
        if beside is not None:
            return _text_of(beside)
        at = at.parent
        if at is None or at.tag in _ROWS:
            return None
    return None


def _next(node: LexborNode) -> LexborNode | None:
    """What follows: an element or a text that says something; pictures and colons do not."""
    at = node.next
    while at is not None:
        empty = at.is_text_node and not (at.text_content or "").strip(" :：\n\t\r\u00a0")
        mute = at.is_element_node and at.tag in _SKIPPED and not at.text().strip()
        if not empty and not mute and (at.is_text_node or at.is_element_node):
            return at
        at = at.next
    return None


def _text_of(node: LexborNode) -> str | None:
    if node.is_text_node:
        return squeeze((node.text_content or "").lstrip(" :：\n\t\r").split("\n")[0])
    if node.tag in _NO_VALUE or len(node.css("a, li, option")) > 1:
        return None
    text = squeeze(node.text(separator=" ")[: 4 * MAX_VALUE]).lstrip(": ")
    picture = node.css_first("img[alt]") if not text else None
    return text or (squeeze(picture.attributes.get("alt") or "") if picture else None)


def _brand(text: str) -> str | None:
    text = re.split(r" [(|]", text, maxsplit=1)[0].rstrip(" .,;")
    if len(text) > MAX_VALUE or len(text.split()) > MAX_WORDS or text.endswith(":"):
        return None
    return None if _ANY_LABEL.fullmatch(text) or text.isdigit() else brand_name(text)


_ANY_LABEL = re.compile("|".join(words for _, words in _KINDS), re.IGNORECASE)


def _part(text: str) -> str | None:
    """A number has a digit or a capital, and no blanks."""
    found = _PART_VALUE.fullmatch(text.rstrip(".,;"))
    return found[0] if found else None


def _model(text: str) -> str | None:
    """A model that is a number: a digit or capitals with hyphens; "Slim" is a cut, 2024 a year."""
    found = _part(text)
    return found if found and _MODEL_NUMBER.fullmatch(found) else None


_MODEL_NUMBER = re.compile(r"(?!(?:19|20)\d\d\Z)(?=.*\d)(?=.{3})[\w./+#-]+|[A-Z]+(?:-[A-Z]+)+")


def _code(text: str) -> str | None:
    found = _DIGITS.search(text[:40])
    return gtin(found[0]) if found else None


_VALUES: dict[str, Callable[[str], str | None]] = {
    "brand": _brand, "maker": _brand, "mpn": _part, "model": _model, "gtin": _code,
}  # fmt: skip
