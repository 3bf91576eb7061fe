"""JSON-LD blocks: every script of the type, strict JSON first, then leniently."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, NamedTuple

from scrapers.model import Ids, Source
from scrapers.readers.claims import Offer, Product
from scrapers.readers.lenient import parse
from scrapers.readers.schema import products
from scrapers.readers.values import brand_name, clean, currency_code, gtin, number, stated

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
    path = f"ld+json[{n}] (broken)"
    return [Product(Source.JSONLD, path, title=title, ids=_salvaged_ids(text), offers=(offer,))]


def _salvaged_ids(text: str) -> Ids:
    """The identifiers that a broken block of one product states, each only if but once."""
    if len(_THINGS.findall(text)) != 1:
        return Ids()
    found = {key: {m[1] for m in pattern.finditer(text)} for key, pattern in _FIELDS.items()}
    one = {key: values.pop() if len(values) == 1 else None for key, values in found.items()}
    return Ids(gtin(one["gtin"]), number(one["mpn"]), number(one["sku"]), brand_name(one["brand"]))


_THINGS = re.compile(r'"@type"\s*:\s*\[?\s*"(?:Product|ProductGroup|IndividualProduct)"')
_STRING = r'"((?:[^"\\\n]|\\.){1,80})"\s*[,}\]]'
_FIELDS = {
    "gtin": re.compile(rf'"(?:gtin(?:8|12|13|14)?|ean)"\s*:\s*{_STRING}'),
    "mpn": re.compile(rf'"mpn"\s*:\s*{_STRING}'),
    "sku": re.compile(rf'"sku"\s*:\s*{_STRING}'),
    "brand": re.compile(rf'"brand"\s*:\s*(?:\{{[^{{}}]{{0,200}}?"name"\s*:\s*)?{_STRING}'),
}
