"""State that scripts and attributes carry: variant tables, product objects, escaped JSON-LD."""

from __future__ import annotations

import html
import json
import re
from typing import Any

from scrapers.model import Availability, Choice, Ids, Source
from scrapers.readers import options
from scrapers.readers.claims import Offer, Product
from scrapers.readers.dom import Doc, where
from scrapers.readers.lenient import amount, parse
from scrapers.readers.schema import products as schema_products
from scrapers.readers.values import Value, clean, currency_code, gtin, minor_units, stated
from scrapers.texts import schema_availability

MAX_SCRIPT = 1 << 20
MAX_OBJECTS = 20_000
MAX_CHOICES = 300
MINOR = "a whole number, perhaps in cents"
Item = dict[str, Any]
_NOW = ("saleprice", "specialprice", "finalprice", "currentprice", "price", "displayprice",
        "sellingprice", "offerprice", "salesprice", "priceamount", "nowprice")  # fmt: skip
_WAS = ("compareatprice", "listprice", "regularprice", "oldprice", "originalprice", "wasprice",
        "displayregularprice", "rrp", "msrp", "strikeprice")  # fmt: skip
_CENTS = ("centamount", "priceincents", "pricecents", "amountincents", "unitamount")
_INNER = ("amount", "value", "current", "now", "final", "sale", "centamount", "price", "gross")
_CURRENCY = ("currency", "currencycode", "pricecurrency", "currencyisocode", "currencyiso")
_NAMES = ("name", "title", "productname", "producttitle", "displayname")
_ASSIGN = re.compile(r"(?:=|\(|:)\s*(?=[{\[])")
_PUSHED = re.compile(r'\.push\(\[\s*\d+\s*,\s*("(?:[^"\\]|\\.)*")', re.DOTALL)
_ESCAPED = re.compile(r'"((?:[^"\\]|\\.)*\\"@type\\"(?:[^"\\]|\\.)*)"', re.DOTALL)
_GRAPH = re.compile(r'\{\s*"@(?:context|type|graph)"')
_DECODER = json.JSONDecoder(parse_float=amount, strict=False)


def _keys(item: Item) -> dict[str, Any]:
    return {k.replace("_", "").replace("-", "").lower(): v for k, v in item.items() if len(k) < 40}


def roots(doc: Doc) -> list[tuple[str, Any]]:
    """JSON values of the scripts that mention a price, with a name for each."""
    found: list[tuple[str, Any]] = []
    budget = MAX_SCRIPT * 2
    for n, node in enumerate(doc.scripts[:300]):
        text = doc.script_text(node)
        budget -= len(text)
        if budget < 0:
            break
        if len(text) > MAX_SCRIPT or ("rice" not in text and "centAmount" not in text):
            continue
        name = node.attributes.get("id") or f"script[{n}]"
        if text.lstrip()[:1] in ("{", "["):
            found += [(name, v) for v in parse(text, watch_doubles=False).values]
        else:
            found += [(name, v) for v in _assigned(text)]
    return found


def _assigned(text: str) -> list[Any]:
    """Object literals that happen to be JSON, at most eight a script."""
    found: list[Any] = []
    at = 0
    for _ in range(60):
        start = _ASSIGN.search(text, at)
        if start is None or len(found) >= 8:
            break
        try:
            value, at = _DECODER.raw_decode(text, start.end())
        except (ValueError, RecursionError):
            at = start.end()
            continue
        if value:
            found.append(value)
    return found


def embedded_graphs(doc: Doc) -> list[Product]:
    """schema.org items inside escaped strings of state scripts."""
    found: list[tuple[str, Any]] = []
    for n, node in enumerate(doc.scripts[:300]):
        text = doc.script_text(node)
        if "@type" not in text or "Product" not in text or len(text) > MAX_SCRIPT:
            continue
        for literal in _literals(text):
            found += [(f"script[{n}]", v) for v in _graphs(literal)]
        if '"@type"' in text:
            found += [(f"script[{n}]", v) for v in _graphs(text)]
    return schema_products(found, Source.STATE)


def loose_graphs(doc: Doc) -> list[Product]:
    """schema.org items that stand as text on the page, where a script was forgotten."""
    text = doc.html[:MAX_SCRIPT]
    return schema_products([("text", v) for v in _graphs(text)], Source.STATE)


def _literals(text: str) -> list[str]:
    raw = [m[1] for m in _PUSHED.finditer(text)] or [f'"{m[1]}"' for m in _ESCAPED.finditer(text)]
    made = []
    for literal in raw[:50]:
        try:
            made.append(str(json.loads(literal, strict=False)))
        except (ValueError, RecursionError):
            continue
    return made


def _graphs(text: str) -> list[Any]:
    found: list[Any] = []
    at = 0
    while len(found) < 20:
        start = _GRAPH.search(text, at)
        if start is None:
            break
        try:
            value, at = _DECODER.raw_decode(text, start.start())
        except (ValueError, RecursionError):
            at = start.end()
            continue
        found.append(value)
    return found


def read(doc: Doc) -> list[Product]:
    """Product objects with a price out of the page's state scripts."""
    found: list[Product] = embedded_graphs(doc)
    seen = 0
    stack: list[tuple[str, Any, str | None, int]] = [
        (n, v, None, 0) for n, v in reversed(roots(doc))
    ]
    while stack and seen < MAX_OBJECTS and len(found) < 50:
        path, value, currency, depth = stack.pop()
        seen += 1
        if depth > 40:
            continue
        if isinstance(value, list):
            stack.extend(
                (f"{path}[{i}]", v, currency, depth + 1)
                for i, v in reversed(list(enumerate(value[:500])))
                if isinstance(v, (dict, list))
            )
        elif isinstance(value, dict):
            keys = _keys(value)
            currency = _currency(keys) or currency
            made = _product(keys, path, currency)
            if made is not None:
                found.append(made)
                continue
            stack.extend(
                (f"{path}.{k}", v, currency, depth + 1)
                for k, v in reversed(list(value.items()))
                if isinstance(v, (dict, list))
            )
    return found


def _currency(keys: Item) -> str | None:
    for name in _CURRENCY:
        value = keys.get(name)
        if isinstance(value, dict):
            value = value.get("code") or value.get("isoCode") or value.get("iso_code")
        code = currency_code(value)
        if code:
            return code
    return None


def _product(keys: Item, path: str, currency: str | None) -> Product | None:
    title = next(
        (t for n in _NAMES if isinstance(keys.get(n), str) and (t := clean(keys[n]))), None
    )
    if title is None:
        return None
    cents = isinstance(keys.get("variants"), list) and (
        "pricemin" in keys or "compareatprice" in keys
    )
    value, currency = _amount(keys, _NOW, currency, cents=cents)
    choices = _variants(keys.get("variants"), currency, cents=cents)
    if value.amount is None and not choices:
        return None
    was, _ = _amount(keys, _WAS, currency, cents=cents)
    offer = Offer(
        where=f"{path}.price",
        price=value.amount,
        text=str(value.amount or ""),
        currency=currency,
        list_price=was.amount
        if was.amount and value.amount and was.amount > value.amount
        else None,
        availability=_stock(keys),
        doubt=value.doubt,
    )
    offers = (offer,) if value.amount is not None else ()
    return Product(Source.STATE, path, title, _ids(keys), offers=offers, choices=choices)


def _ids(keys: Item) -> Ids:
    brand = keys.get("brand") or keys.get("vendor")
    brand = brand.get("name") if isinstance(brand, dict) else brand
    return Ids(
        gtin=gtin(keys.get("gtin") or keys.get("ean") or keys.get("barcode") or keys.get("gtin13")),
        mpn=clean(keys.get("mpn"), 80),
        sku=clean(keys.get("sku") or keys.get("productcode"), 80),
        brand=clean(brand, 80),
    )


def _amount(
    keys: Item, names: tuple[str, ...], currency: str | None, *, cents: bool
) -> tuple[Value, str | None]:
    for name in (*_CENTS, *names) if names is _NOW else names:
        raw = keys.get(name)
        if isinstance(raw, dict):
            inner = _keys(raw)
            currency = _currency(inner) or currency
            made, currency = _amount(inner, (*_INNER, *_NOW), currency, cents=cents)
            if made.amount is not None:
                return made, currency
            continue
        minor = cents or name in _CENTS
        value = _scaled(raw, currency, minor=minor)
        if value.amount is not None:
            return value, value.currency or currency
    return Value(None), currency


def _scaled(raw: Any, currency: str | None, *, minor: bool) -> Value:
    if isinstance(raw, bool) or raw is None or isinstance(raw, (list, dict)):
        return Value(None)
    value = stated(raw, currency)
    if value.amount is None or not isinstance(raw, int):
        return value
    if minor:
        places = minor_units(currency) or 2
        return Value(value.amount.scaleb(-places), currency)
    return Value(value.amount, currency, MINOR if value.amount >= 100 else None)


def _stock(keys: Item) -> Availability:
    for name in ("available", "isinstock", "instock", "isavailable"):
        if isinstance(keys.get(name), bool):
            return Availability.IN_STOCK if keys[name] else Availability.OUT_OF_STOCK
    word = keys.get("availability") or keys.get("stockstatus")
    found = schema_availability(word) if isinstance(word, str) and len(word) < 80 else None
    return found or Availability.UNKNOWN


def _variants(value: Any, currency: str | None, *, cents: bool) -> tuple[Choice, ...]:
    made = []
    for variant in (value if isinstance(value, list) else [])[:MAX_CHOICES]:
        if isinstance(variant, dict):
            choice = _choice(_keys(variant), currency, cents=cents)
            if choice is not None:
                made.append(choice)
    return tuple(made)


def _choice(keys: Item, currency: str | None, *, cents: bool) -> Choice | None:
    amount, money = _amount(keys, ("displayprice", *_NOW), currency, cents=cents)
    picked = keys.get("attributes") or keys.get("options") or keys.get("selectedoptions")
    name = next(
        (clean(keys[n], 200) for n in (*_NAMES, "publictitle") if isinstance(keys.get(n), str)),
        None,
    )
    if isinstance(picked, dict):
        name = " / ".join(str(v) for v in picked.values() if v)[:200] or name
    if amount.amount is None and not name:
        return None
    return Choice(
        name=name or clean(keys.get("sku"), 80) or "",
        sku=clean(keys.get("sku"), 80) or clean(keys.get("id"), 80),
        price=amount.amount,
        currency=money,
        availability=_stock(keys),
    )


def tables(doc: Doc, currency: str | None) -> tuple[tuple[Choice, ...], str]:
    """The variant table that a form carries in an attribute, and where it stands."""
    for node in doc.tables[:50]:
        attrs = node.attributes
        for name in (
            "data-product_variations",
            "data-variants",
            "data-product-json",
            "data-product",
        ):
            raw = (attrs.get(name) or "").strip()
            if raw[:1] not in ("[", "{") or len(raw) > MAX_SCRIPT:
                continue
            for value in parse(raw, watch_doubles=False).values or parse(html.unescape(raw)).values:
                listed = value.get("variants") if isinstance(value, dict) else value
                made = _variants(listed, currency, cents=name == "data-product-json")
                if made:
                    return made, f"{where(node)}@{name}"
    made = options.read(doc, currency)
    return (made, "script.optionPrices") if made else _script_table(doc, currency)


def _script_table(doc: Doc, currency: str | None) -> tuple[tuple[Choice, ...], str]:
    for node in doc.scripts[:300]:
        kind = (node.attributes.get("type") or "").lower()
        if "json" not in kind:
            continue
        text = doc.script_text(node)
        if '"price"' not in text or len(text) > MAX_SCRIPT >> 2:
            continue
        for value in parse(text, watch_doubles=False).values:
            held = value.get("product", value) if isinstance(value, dict) else value
            listed = held.get("variants") if isinstance(held, dict) else held
            whole = isinstance(listed, list) and all(
                isinstance(v, dict) and isinstance(v.get("price"), int) for v in listed
            )
            made = _variants(listed, currency, cents=whole)
            if len(made) > 0 and any(c.price is not None for c in made):
                return made, f"script#{node.attributes.get('id') or 'json'}"
    return (), ""
