"""What the page says as a whole: its text without scripts, the currency its picker stands at."""

from __future__ import annotations

from selectolax.lexbor import LexborNode

from scrapers.readers.dom import Doc
from scrapers.readers.values import currency_code

MAX_MUTE = 2_000
MAX_START = 100  # characters to search for: the whole of a long script takes long to look for
_MUTE = "script, style, select"


def text_of(doc: Doc) -> str:
    """The text of the body; what scripts, styles and pickers hold is not said to a visitor."""
    body = doc.tree.body
    if body is None:
        return ""
    text = body.text(separator=" ")
    parts: list[str] = []
    at = 0
    for node in body.css(_MUTE)[:MAX_MUTE]:
        inner = node.text(separator=" ")
        start = text.find(inner[:MAX_START], at) if inner else -1
        if start >= 0 and text.startswith(inner, start):
            parts.append(text[at:start])
            at = start + len(inner)
    parts.append(text[at:])
    return " ".join(parts)


def picked_currency(doc: Doc) -> str | None:
    """The currency that the shop's own picker stands at."""
    selects = doc.tree.css("select")
    pickers = [s for s in selects if any("currenc" in (v or "").lower() for v in _names(s))]
    for picker in pickers[:5]:
        option = picker.css_first("option[selected]")
        if option is not None:
            code = currency_code((option.attributes.get("value") or "").strip()[:40])
            return code or currency_code(option.text().strip()[:40])
    return None


def _names(node: LexborNode) -> tuple[str | None, ...]:
    attrs = node.attributes
    return attrs.get("name"), attrs.get("id"), attrs.get("class")
