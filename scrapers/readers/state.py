"""State that scripts and attributes carry: variant tables, product objects, escaped JSON-LD."""

from __future__ import annotations

import html
import json
import re
from functools import lru_cache
from typing import Any

from scrapers.model import Choice, Ids, Source
from scrapers.readers import options
from scrapers.readers.claims import Offer, Product
from scrapers.readers.dom import MAX_SCRIPTS, Doc, where
from scrapers.readers.hydrate import MAX_SCRIPT, is_folded, roots
from scrapers.readers.lenient import amount, parse
from scrapers.readers.schema import products as schema_products
from scrapers.readers.statemoney import (
    NOW,
    Item,
    amount_of,
    currency_in,
    keys_of,
    priced,
    stock_of,
    was_of,
    whole,
)
from scrapers.readers.values import brand_name, clean, gtin

MAX_OBJECTS = 20_000
MAX_CHOICES = 300
_GTINS = ("gtin", "ean", "barcode", "gtin13", "upc", "gtin14", "gtin12", "eancode")
_NAMES = ("name", "title", "productname", "producttitle", "displayname", "itemname")
_PUSHED = re.compile(r'\.push\(\[\s*\d+\s*,\s*("(?:[^"\\]|\\.)*")', re.DOTALL)
_ESCAPED = re.compile(r'"((?:[^"\\]|\\.)*\\"@type\\"(?:[^"\\]|\\.)*)"', re.DOTALL)
_GRAPH = re.compile(r'\{\s*"@(?:context|type|graph)"')
_DECODER = json.JSONDecoder(parse_float=amount, strict=False)


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
        (n, _joined(v), None, 0) for n, v in reversed(roots(doc))
    ]
    while stack and seen < MAX_OBJECTS and len(found) < 50:
        path, value, currency, depth = stack.pop()
        seen += 1
        if depth > 40:
            continue
        if isinstance(value, list):
            if len(value) > 1 and path.endswith(".items") and "ecommerce" in path:
                continue  # what a list shows, for those who count visitors
            stack.extend(
                (f"{path}[{i}]", v, currency, depth + 1)
                for i, v in reversed(list(enumerate(value[:500])))
                if isinstance(v, (dict, list))
            )
        elif isinstance(value, dict):
            keys = keys_of(value)
            currency = currency_in(keys) or currency
            made = _product(keys, path, currency)
            if made is not None:
                found.append(made)
                continue
            stack.extend(
                (f"{path}.{k}", v, currency, depth + 1)
                for k, v in reversed(list(value.items()))
                if isinstance(v, (dict, list)) and not is_aside(k)
            )
    return found


@lru_cache(maxsize=4096)
def is_aside(key: str) -> bool:
    """Whether a key of state holds other things: lists shown, neighbours, what is in the cart."""
    return len(key) < MAX_KEY and _ASIDE.fullmatch(key) is not None


MAX_KEY = 60
_ASIDE = re.compile(
    r"(?:\w*[_-])?(?:impressions?|recommend\w*|recs|related\w*|upsell\w*|up_?sells?|cross_?sell\w*|"
    r"similar\w*|also_?(?:bought|viewed|liked?)\w*|accessor(?:y|ies)|recently\w*|last_?(?:seen|viewed)\w*|"
    r"suggest\w*|sponsored\w*|bestsellers?|trending\w*|alternatives?|mini_?cart|wish_?list\w*|"
    r"gift_?cards?)(?:_?(?:products?|items?|list))?",
    re.IGNORECASE,
)


def _joined(root: Any) -> Any:
    """A cache of entities that name each other ({"__ref": key}), with the things joined in."""
    if not isinstance(root, dict) or not any(":" in k for k in root):
        return root
    budget = MAX_OBJECTS

    def join(value: Any, depth: int) -> Any:
        nonlocal budget
        budget -= 1
        if depth > MAX_JOINED or budget < 0:
            return value
        if isinstance(value, dict):
            ref = value.get("__ref")
            if isinstance(ref, str):
                return join(root.get(ref), depth + 1)
            return {k: join(v, depth + 1) for k, v in value.items()}
        return [join(v, depth + 1) for v in value[:500]] if isinstance(value, list) else value

    return {k: join(v, 0) for k, v in root.items()} if "__ref" in str(root)[:MAX_SCRIPT] else root


MAX_JOINED = 8


def _product(keys: Item, path: str, currency: str | None) -> Product | None:
    title = next(
        (t for n in _NAMES if isinstance(keys.get(n), str) and (t := clean(keys[n]))), None
    )
    if title is None:
        return None
    cents = isinstance(keys.get("variants"), list) and (
        "pricemin" in keys or "compareatprice" in keys
    )
    value, currency = priced(keys, currency, cents=cents)
    choices = _variants(keys.get("variants"), currency, cents=cents)
    if value.amount is None and not choices:
        return None
    if value.amount is None and len({(c.price, c.currency) for c in choices}) == 1:
        value, currency = whole(choices[0].price), choices[0].currency or currency
    was = was_of(keys, currency, cents=cents)
    offer = Offer(
        where=f"{path}.price",
        price=value.amount,
        text=str(value.amount or ""),
        currency=currency,
        list_price=was.amount
        if was.amount and value.amount and was.amount > value.amount
        else None,
        availability=stock_of(keys),
        doubt=value.doubt,
    )
    offers = (offer,) if value.amount is not None else ()
    return Product(Source.STATE, path, title, _all_ids(keys), offers=offers, choices=choices)


def _all_ids(keys: Item) -> Ids:
    """A thing's numbers; what is missing from its one variant."""
    ids, variants = _ids(keys), nodes_of(keys.get("variants"))
    if len(variants) != 1 or not isinstance(variants[0], dict):
        return ids
    one = _ids(keys_of(variants[0]))
    return Ids(ids.gtin or one.gtin, ids.mpn or one.mpn, ids.sku or one.sku, ids.brand or one.brand)


# an "id" that people use as the article's number: capitals and digits, no database's key
_ARTICLE = re.compile(r"(?=[^\d]*\d)(?=[^A-Z]*[A-Z])[A-Z\d][A-Z\d./_-]{2,19}")
_SKUS = ("sku", "productcode", "articlenumber", "itemnumber", "productnumber", "partnumber", "code",
         "itemid", "productsku")  # fmt: skip
_BRANDS = ("brand", "vendor", "itembrand", "productbrand")


def _ids(keys: Item) -> Ids:
    brand = next((keys[n] for n in _BRANDS if keys.get(n)), None)
    brand = brand.get("name") if isinstance(brand, dict) else brand
    return Ids(
        gtin=gtin(next((keys[n] for n in _GTINS if keys.get(n)), None)),
        mpn=clean(keys.get("mpn"), 80),
        sku=clean(next((keys[n] for n in _SKUS if keys.get(n)), None), 80) or _article(keys),
        brand=brand_name(brand),
    )


def _article(keys: Item) -> str | None:
    held = keys.get("id")
    return held if isinstance(held, str) and _ARTICLE.fullmatch(held) else None


def nodes_of(value: Any) -> list[Any]:
    """A list, or one that a graph answer wraps: {"nodes": [...]}, {"edges": [{"node": ...}]}."""
    if isinstance(value, dict):
        value = value.get("nodes") or value.get("edges") or value.get("items")
    listed = value if isinstance(value, list) else []
    return [v.get("node", v) if isinstance(v, dict) else v for v in listed]


def _variants(value: Any, currency: str | None, *, cents: bool) -> tuple[Choice, ...]:
    made = []
    for variant in nodes_of(value)[:MAX_CHOICES]:
        if isinstance(variant, dict):
            choice = _choice(keys_of(variant), currency, cents=cents)
            if choice is not None:
                made.append(choice)
    return tuple(made)


def _choice(keys: Item, currency: str | None, *, cents: bool) -> Choice | None:
    amount, money = amount_of(keys, ("displayprice", *NOW), currency, cents=cents)
    if amount.amount is None:
        amount, money = priced(keys, currency, cents=cents)
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
        availability=stock_of(keys),
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
    for node in doc.scripts[:MAX_SCRIPTS]:
        if "json" not in (node.attributes.get("type") or "").lower():
            continue
        text = doc.script_text(node)
        if '"price"' not in text or len(text) > MAX_SCRIPT >> 2:
            continue
        for value in parse(text, watch_doubles=False).values:
            if is_folded(value):
                continue
            held = value.get("product", value) if isinstance(value, dict) else value
            listed = held.get("variants") if isinstance(held, dict) else held
            whole = isinstance(listed, list) and all(
                isinstance(v, dict) and isinstance(v.get("price"), int) for v in listed
            )
            made = _variants(listed, currency, cents=whole)
            if len(made) > 0 and any(c.price is not None for c in made):
                return made, f"script#{node.attributes.get('id') or 'json'}"
    return (), ""
