"""Tables of quantity prices: rows of a least quantity and what each then costs."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Evidence, Multibuy
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.texts import read_price
from scrapers.texts.locales import style

MAX_ROWS = 40
MAX_BOXES = 3_000
MAX_CHARS = 2_000_000
MAX_ROW = 600
_ROW = re.compile(
    r"\A\D{0,20}?([1-9]\d{0,2}(?:[,.'’\u00a0\u202f]\d{3})+(?!\d)|\d{1,5}\b)\s*(?:(?:[-–]|to|bis|à|a|al|tot|t/m|do|až|till?|-ig)\s*"
    r"(?:\d{1,3}(?:[,.'’\u00a0\u202f]\d{3})+(?!\d)|\d{1,5}\b))?"
    r"(?!\s*%)(.{0,60})\Z",
    re.DOTALL,
)
_UNTIL = re.compile(
    r"\b(?:bis|until|up to|to|jusqu|tot|fino|hasta|do|till|til)\b[^\d]*\d", re.IGNORECASE
)
_MONEY = re.compile(  # a sign right before a digit is that of the amount behind it
    r"(?:[€$£¥]|[A-Z]{3}\b)\s?\d[\d.,'\u00a0\u202f]*|"
    r"\d[\d.,'\u00a0\u202f]*\s?(?:[€£$](?!\d)|[A-Z]{3}\b|zł|Kč|kr\b)"
)


def read(doc: Doc, places: Places, locale: str | None, currency: str | None) -> list[Multibuy]:
    """Multibuys "each" of the page's own tables; the row of one piece is no multibuy."""
    found: list[Multibuy] = []
    for node in doc.tiers[:12]:
        if places.of(node).zone in ("other", "hidden"):
            continue
        for row in node.css("tr, li")[:MAX_ROWS]:
            made = _row(squeeze(row.text(separator=" ")), locale, currency)
            if made is not None:
                found.append(made)
    return found


class Rows(NamedTuple):
    """Rows of quantities: the amounts for one piece and their proof, the prices of more."""

    one: tuple[Decimal, ...] = ()
    more: tuple[Multibuy, ...] = ()
    currency: str | None = None
    proof: tuple[Evidence, ...] = ()


def unnamed(
    doc: Doc,
    places: Places,
    locale: str | None,
    currency: str | None,
    *,
    tables: bool = False,
) -> Rows:
    """What rows of quantities that no name marks tell; no amounts where there are none.

    Rows count where their amounts fall as the quantities that lead them rise. `tables`: only
    those of tables and lists.
    """
    budget = MAX_CHARS
    boxes = () if tables else doc.tree.css("div")
    for node in (*doc.tree.css("table, ul, ol, dl"), *boxes)[:MAX_BOXES]:
        count, rows = _lines(node)
        if not 1 < count <= MAX_ROWS or places.of(node).zone in ("other", "hidden"):
            continue
        found, spent = _rows(rows, locale, currency)
        budget -= spent
        if budget < 0:
            break
        if len(found) > 1 and all(a[0] < b[0] and a[1][0] > b[1][0] for a, b in pairwise(found)):
            more = tuple(Multibuy(row[0], row[1][0], "each") for row in found if row[0] > 1)
            code = _code(node.text(separator=" "), locale, currency)
            least, one, text = found[0]
            if least > 1:
                return Rows((), more, code)
            return Rows(one, more, code, (Evidence("visible", "price", text[:120], where(node)),))
    return Rows(currency=currency)


def _lines(node: LexborNode) -> tuple[int, Iterator[str]]:
    """What a table, list or box says row by row, and how many rows there are.

    Quantities in a head row go to the amounts in their columns. Texts are made one by one, as
    those of boxes within boxes are long.
    """
    if node.tag == "table":
        rows = node.css("tr")
        turned = _turned(rows) if len(rows) in (2, 3) else []
        return (len(turned), iter(turned)) if turned else (len(rows), map(_text, rows))
    inner = list(node.iter(include_text=False))
    if node.tag == "dl" and [one.tag for one in inner[:2]] == ["dt", "dd"]:
        pairs = zip(inner[::2], inner[1::2], strict=False)
        return len(inner) // 2, (f"{_text(term)} {_text(said)}" for term, said in pairs)
    return len(inner), map(_text, inner)


def _turned(rows: list[LexborNode]) -> list[str]:
    """Columns as rows, of a short table whose first row holds quantities."""
    if any(len(row.text()) > MAX_ROW for row in rows):
        return []
    return _columns([[_text(cell) for cell in row.css("td, th")] for row in rows])


def _columns(cells: list[list[str]]) -> list[str]:
    """Rows out of columns where a row holds nothing but quantities, and as many amounts follow."""
    head, *rest = cells
    if not 1 < len(head) <= MAX_ROWS or any(len(row) != len(head) for row in rest):
        return []
    told = [n for n, cell in enumerate(head) if _QUANTITY.match(cell)]
    if len(told) < max(2, len(head) - 1):
        return []
    return [" ".join(row[n] for row in cells) for n in told]


_QUANTITY = re.compile(
    r"(?:[^\W\d_]{2,9}\s|[>≥]=?\s?)?\d{1,5}\s?(?:\+|(?:[-–]|to|bis|à|a|al|tot|t/m|do|až|till?)\s?"
    r"\d{1,5})?(?:\s?[^\W\d_]{1,8}\.?)?\Z",
    re.IGNORECASE,
)


def _text(node: LexborNode) -> str:
    text = node.text(separator=" ")
    return text if len(text) > MAX_ROW else squeeze(text)


def _rows(
    rows: Iterator[str], locale: str | None, currency: str | None
) -> tuple[list[tuple[int, tuple[Decimal, ...], str]], int]:
    """The rows that say a quantity and amounts, and how much text was read; none of a long one."""
    found: list[tuple[int, tuple[Decimal, ...], str]] = []
    spent = 0
    for text in rows:
        spent += len(text)
        if len(text) > MAX_ROW:
            return [], spent
        if made := _amounts(text, locale, currency):
            found.append((*made, text))
    return found, spent


def _code(text: str, locale: str | None, currency: str | None) -> str | None:
    """The currency of the first amount of a table, whatever the amount."""
    first = _MONEY.search(text)
    one = _DIGITS.sub("1", first[0]) if first else ""
    told = read_price(one, locale=locale, currency=currency)
    return (told.currency if told else None) or currency


_DIGITS = re.compile(r"\d[\d.,'\u00a0\u202f]*")


def _row(text: str, locale: str | None, currency: str | None) -> Multibuy | None:
    found = _amounts(text, locale, currency)
    return Multibuy(found[0], found[1][0], "each") if found and found[0] > 1 else None


def _amounts(
    text: str, locale: str | None, currency: str | None
) -> tuple[int, tuple[Decimal, ...]] | None:
    """The least quantity that leads a row, and the amounts behind it."""
    match = _ROW.match(text)
    count = int(_MARKS.sub("", match[1])) if match is not None else 0
    if match is None or _UNTIL.match(text) or count < 1:
        return None
    read = (_amount(m[0], locale, currency) for m in _MONEY.finditer(match[2]))
    amounts = tuple(a for a in read if a is not None)
    return (count, amounts) if amounts and min(amounts) > 0 else None


_MARKS = re.compile(r"\D")  # of thousands
_THREE = re.compile(r"(\d{1,3})([.,])(\d{3})(?!\d)")


def _amount(text: str, locale: str | None, currency: str | None) -> Decimal | None:
    """An amount; three decimals, usual for parts by the hundred, by the locale's mark."""
    told = read_price(text, locale=locale, currency=currency)
    if told is not None and told.amount is not None:
        return told.amount
    found = _THREE.search(text) if told is not None and told.doubt == "separator" else None
    known = style(locale) if found is not None and locale else None
    if found is None or known is None or known.decimal != found[2]:
        return None
    return Decimal(f"{found[1]}.{found[3]}")
