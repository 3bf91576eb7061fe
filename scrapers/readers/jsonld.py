"""JSON-LD blocks: every script of the type, strict JSON first, then leniently."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, NamedTuple

from scrapers.model import Source
from scrapers.readers.claims import Offer, Product
from scrapers.readers.lenient import parse
from scrapers.readers.schema import products
from scrapers.readers.values import clean, currency_code, stated

MAX_BLOCKS = 2_000
MAX_BYTES = 1 << 20
_PRICE = re.compile(r'"price"\s*:\s*"?([^",}\]\s]{1,30})')
_CURRENCY = re.compile(r'"priceCurrency"\s*:\s*"([A-Za-z]{3})"')
_NAME = re.compile(r'"name"\s*:\s*"((?:[^"\\\n]|\\.){1,300})"')


class Blocks(NamedTuple):
    """The values of all blocks with their paths, and what was refused or broken."""

    roots: list[tuple[str, Any]]
    products: list[Product]
    refused: str | None = None
    broken: bool = False


def read(texts: Iterable[str]) -> Blocks:
    """Products of all JSON-LD blocks; `texts` are the scripts' contents in page order."""
    blocks = list(texts)
    if len(blocks) > MAX_BLOCKS or sum(map(len, blocks)) > MAX_BYTES:
        return Blocks([], [], refused="too many JSON-LD blocks")
    roots: list[tuple[str, Any]] = []
    salvaged: list[Product] = []
    refused, broken = None, False
    for n, text in enumerate(blocks):
        if not text.strip():
            continue
        parsed = parse(text)
        refused = refused or parsed.refused
        broken = broken or parsed.lenient
        roots += [(f"ld+json[{n}]", value) for value in parsed.values]
        if parsed.lenient and not parsed.values:
            salvaged += _salvage(text, n)
    return Blocks(
        roots,
        products(roots, Source.JSONLD, linked=any("@id" in b for b in blocks)) + salvaged,
        refused,
        broken,
    )


def _salvage(text: str, n: int) -> list[Product]:
    """The price out of a block that no pass could parse: usable only with another source."""
    prices = {m[1] for m in _PRICE.finditer(text)}
    if len(prices) != 1 or '"Product"' not in text:
        return []
    found = _CURRENCY.search(text)
    currency = currency_code(found[1]) if found else None
    value = stated(prices.pop(), currency)
    if not isinstance(value.amount, Decimal):
        return []
    name = _NAME.search(text)
    offer = Offer(
        where=f"ld+json[{n}] (broken)",
        price=value.amount,
        text=str(value.amount),
        currency=currency,
        doubt="the JSON-LD is broken",
    )
    title = clean(name[1]) if name else None
    return [Product(Source.JSONLD, f"ld+json[{n}] (broken)", title=title, offers=(offer,))]
