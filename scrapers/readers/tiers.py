"""Tables of quantity prices: rows of a least quantity and what each then costs."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from decimal import Decimal
from itertools import pairwise

from scrapers.model import Multibuy
from scrapers.readers.dom import Doc
from scrapers.readers.places import Places
from scrapers.texts import read_price

MAX_ROWS = 40
MAX_TABLES = 25
_ROW = re.compile(r"\A\D{0,20}?(\d{1,5})\b\s*(?:[-–]\s*\d{1,5}\b)?(?!\s*%)(.{0,60})\Z", re.DOTALL)
_UNTIL = re.compile(
    r"\b(?:bis|until|up to|to|jusqu|tot|fino|hasta|do|till|til)\b[^\d]*\d", re.IGNORECASE
)
_MONEY = re.compile(
    r"(?:[€$£¥]|[A-Z]{3}\b)\s?\d[\d.,'\u00a0\u202f]*|\d[\d.,'\u00a0\u202f]*\s?(?:[€£$]|[A-Z]{3}\b|"
    r"zł|Kč|kr\b)"
)


def read(doc: Doc, places: Places, locale: str | None, currency: str | None) -> list[Multibuy]:
    """Multibuys "each" of the page's own tables; the row of one piece is no multibuy."""
    found: list[Multibuy] = []
    for node in doc.tiers[:12]:
        if places.of(node).zone in ("other", "hidden"):
            continue
        for row in node.css("tr, li")[:MAX_ROWS]:
            made = _row(" ".join(row.text(separator=" ").split()), locale, currency)
            if made is not None:
                found.append(made)
    return found


def tables(
    doc: Doc, places: Places, locale: str | None, currency: str | None
) -> tuple[Decimal | None, list[Multibuy]]:
    """Of a table that no name marks: the price of one piece, and those of more.

    A table counts where its amounts fall as the quantities in its first column rise.
    """
    for node in doc.tree.css("table")[:MAX_TABLES]:
        if places.of(node).zone in ("other", "hidden"):
            continue
        rows = node.css("tr")[:MAX_ROWS]
        texts = (" ".join(row.text(separator=" ").split()) for row in rows)
        found = [made for text in texts if (made := _row(text, locale, currency, 1))]
        pairs = list(pairwise(found))
        if pairs and all(a.quantity < b.quantity and a.price > b.price for a, b in pairs):
            one = found[0].price if found[0].quantity == 1 else None
            return one, [m for m in found if m.quantity > 1]
    return None, []


def _row(text: str, locale: str | None, currency: str | None, fewest: int = 2) -> Multibuy | None:
    match = _ROW.match(text)
    if match is None or _UNTIL.match(text):
        return None
    least, rest = int(match[1]), _MONEY.search(match[2])
    if least < fewest or rest is None:
        return None
    told = read_price(rest[0], locale=locale, currency=currency)
    if told is None or told.amount is None or told.amount <= 0:
        return None
    return Multibuy(least, told.amount, "each")
