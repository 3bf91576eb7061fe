"""What the page says as a whole: its text without scripts, the currency its picker stands at."""

# ruff: noqa: RUF001  # the signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from decimal import Decimal

from selectolax.lexbor import LexborNode

from scrapers.readers import labels
from scrapers.readers.dom import Doc
from scrapers.readers.pricelike import MONEY
from scrapers.readers.values import currency_code

MAX_MUTE = 2_000
MAX_SAID = 60_000
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


def says_amount(text: str, whole: Decimal) -> bool:
    """Whether a text shows a whole amount as money: by a sign beside it, or with its cents."""
    grouped = f"{whole:,.0f}".replace(",", r"[.,'’\s]?")
    cents = r"(?:[.,]00|,[-–])"
    either = rf"{MONEY}\s?{grouped}{cents}?|(?<![\d.,]){grouped}(?:{cents}|\s?{MONEY})"
    text = text[:MAX_SAID]
    found = re.finditer(rf"(?:{either})(?![\d.,]*\d)", text)
    return any(not _of_orders(text[max(0, m.start() - 60) : m.start()]) for m in found)


def _of_orders(before: str) -> bool:
    """Whether the words before an amount speak of delivery, or of what an order must come to."""
    return bool(labels.SHIPPING.search(before) or labels.MINIMUM.search(before))


def prints(text: str, amount: Decimal) -> str | None:
    """The digits of the amount as they stand in a text, with its cents where it has any."""
    whole, cents = divmod(amount.quantize(_CENT), 1)
    grouped = f"{whole:,.0f}".replace(",", r"[.,'’\s\u00a0\u202f]?")
    digits = f"{cents:.2f}"[2:]
    tail = r"(?:[.,\s]?00|[.,][-–—])?" if digits == "00" else rf"[.,\s]*{digits}"
    found = re.search(rf"(?<![\d.,]){grouped}{tail}(?![\d])", text[:MAX_SAID])
    return found[0] if found else None


_CENT = Decimal("0.01")


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
