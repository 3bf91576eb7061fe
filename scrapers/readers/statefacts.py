"""Numbers and brand that script state tells of the thing it calls by the page's title.

The price is read elsewhere; here a title says which object is meant, and what stands in that
object, or beside it in the one that holds the price as well, is taken.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import re2

from scrapers.model import Ids
from scrapers.readers.dom import Doc
from scrapers.readers.hydrate import roots
from scrapers.readers.pricelike import squeeze
from scrapers.readers.state import is_aside, nodes_of
from scrapers.readers.statemoney import Item, keys_of, priced
from scrapers.readers.values import brand_name, clean, gtin

MAX_OBJECTS = 20_000
MAX_DEPTH = 40
MAX_CLIMB = 2  # from the object with the title up to the one with the price
MAX_TEXTS = 6
_TITLES = ("name", "title", "productname", "producttitle", "displayname", "itemname", "name1",
           "fulltitle")  # fmt: skip
_BRANDS = ("brand", "brandname", "vendor", "itembrand", "productbrand", "primarybrand",
           "manufacturer", "manufacturername")  # fmt: skip
_GTINS = ("gtin", "gtin13", "gtin12", "gtin14", "gtin8", "ean", "ean13", "eancode", "upc",
          "barcode", "barcodes", "primarybarcode", "eans", "gtins")  # fmt: skip
_MPNS = ("mpn", "modelnumber", "manufacturerpartnumber", "manufacturernumber",
         "manufacturersku")  # fmt: skip
_SKUS = ("sku", "articlenumber", "productsku", "productnumber", "itemnumber", "productcode")
_SELECTED = re.compile(r"(?:selected|current|active|chosen)\w*variant|selectedsku")
_BRAND_NAMES = ("name", "externalname", "label", "title", "value")
_KEY = re2.compile("(?i)brand|vendor|manufacturer|gtin|ean|upc|barcode|mpn|modelnumber|sku")
_LONGEST = re.compile(r"[A-Za-z0-9]{3,}", re.ASCII)
Costs = Callable[[Decimal], bool]
Found = tuple[Ids, str]


def read(doc: Doc, titles: tuple[str, ...], costs: Costs) -> Found:
    """What all objects of the page's title agree on, and where the first of them stands.

    `titles`: what the page calls its thing; `costs`: whether an amount is the price read.
    """
    wanted = {t for title in titles if len(t := squeeze(title).casefold()) > 3}
    words = {max(found, key=len) for t in titles if (found := _LONGEST.findall(t))}
    texts = [text for _, _, text in doc.priced_scripts() if any(w in text for w in words)]
    keyed = any(_KEY.search(text) for text in texts) or bool(doc.islands)
    if not wanted or not keyed:
        return Ids(), ""
    found = [(_ids(box, costs), path) for path, box in _boxes(doc, wanted, words)]
    found += [(_ids([keys], costs), "script") for keys in _literals(texts, titles)]
    found = [one for one in found if one[0] != Ids()]
    return _agreed([ids for ids, _ in found]), found[0][1] if found else ""


def _agreed(all_ids: list[Ids]) -> Ids:
    told = {
        n: {v for i in all_ids if (v := getattr(i, n))} for n in ("gtin", "mpn", "sku", "brand")
    }
    return Ids(
        **{name: values.pop() if len(values) == 1 else None for name, values in told.items()}
    )


def _boxes(doc: Doc, wanted: set[str], words: set[str]) -> Iterator[tuple[str, list[Item]]]:
    """The objects that bear a wanted title, each with those around it up to the price."""
    stack: list[tuple[str, Any, tuple[Item, ...]]] = [
        (name, value, ()) for name, value in reversed(roots(doc, words))
    ]
    seen = 0
    while stack and seen < MAX_OBJECTS:
        path, value, above = stack.pop()
        seen += 1
        if path.count(".") > MAX_DEPTH:
            continue
        if isinstance(value, list):  # what stands in a list has nothing around it
            stack.extend((f"{path}.{n}", v, ()) for n, v in enumerate(value[:500]) if v)
        elif isinstance(value, dict):
            keys = keys_of(value)
            if any(_same(keys.get(n), wanted) for n in _TITLES):
                yield path, _up_to_price(keys, above)
            around = (*above[1 - MAX_CLIMB :], keys) if above else (keys,)
            stack.extend(
                (f"{path}.{k}", v, around)
                for k, v in reversed(list(value.items()))
                if isinstance(v, (dict, list)) and not is_aside(k)
            )


def _same(value: Any, wanted: set[str]) -> bool:
    text = clean(value) if isinstance(value, str) else None
    return text is not None and text.casefold() in wanted


def _up_to_price(keys: Item, above: tuple[Item, ...]) -> list[Item]:
    """The object, and where it has no price those around it, with what has no name of its own."""
    held = [keys]
    for n, outer in enumerate(reversed(above)):
        if _is_priced(held[-1]):
            break
        if not any(_is_priced(one) for one in above[: len(above) - n]):
            break  # a title apart from every price: nothing around it is surely its own
        inner = (keys_of(v) for k, v in outer.items() if isinstance(v, dict) and not is_aside(k))
        held += [i for i in inner if not any(isinstance(i.get(t), str) for t in _TITLES)]
        held.append(outer)
    return held


def _is_priced(keys: Item) -> bool:
    return any("price" in key for key in keys)


def _ids(box: list[Item], costs: Costs) -> Ids:
    """The first of each kind in an object and what stands around it."""
    box = [*box, *(v for keys in box[:1] for v in _variants(keys, costs))]
    return Ids(
        gtin=next((c for keys in box if (c := _code(keys))), None),
        mpn=next((n for keys in box if (n := _first(keys, _MPNS))), None),
        sku=next((n for keys in box if (n := _first(keys, _SKUS))), None),
        brand=next((b for keys in box if (b := _brand(keys))), None),
    )


def _variants(keys: Item, costs: Costs) -> list[Item]:
    """The variant that is selected, or the only one, if it costs what was read."""
    held = [keys_of(v) for k, v in keys.items() if isinstance(v, dict) and _SELECTED.search(k)]
    listed = nodes_of(keys.get("variants"))
    if len(listed) == 1 and isinstance(listed[0], dict):
        held.append(keys_of(listed[0]))
    return [one for one in held if _costs(one, costs)]


def _costs(keys: Item, costs: Costs) -> bool:
    value, _ = priced(keys, None, cents=False)
    return value.amount is not None and costs(value.amount)


def _first(keys: Item, names: tuple[str, ...]) -> str | None:
    held = (keys.get(n) for n in names)
    return next((t for v in held if isinstance(v, (str, int)) and (t := clean(v, 80))), None)


def _code(keys: Item) -> str | None:
    """The one GTIN under any of its names, also in a list of codes."""
    held = [v for n in _GTINS for v in _listed(keys.get(n))]
    codes = {c for v in held if (c := gtin(v.get("code") if isinstance(v, dict) else v))}
    return codes.pop() if len(codes) == 1 else None


def _listed(value: Any) -> list[Any]:
    return value[:20] if isinstance(value, list) else [value]


def _brand(keys: Item) -> str | None:
    for name in _BRANDS:
        value = keys.get(name)
        if isinstance(value, dict):
            inner = keys_of(value)
            value = next((inner[n] for n in _BRAND_NAMES if isinstance(inner.get(n), str)), None)
        brand = brand_name(value) if isinstance(value, str) else None
        if brand is not None:
            return brand
    return None


# flat pairs of an object in a program: name:"Rope",brand:"X",price:d
_VALUE = r"""(?:"(?:[^"\\\n]|\\.){0,300}"|'(?:[^'\\\n]|\\.){0,300}'|[\w.$-]{1,40})"""
_PAIR = re.compile(rf"""\s*["']?([A-Za-z_$][\w$]{{0,39}})["']?\s*:\s*({_VALUE})\s*(?:,|(?=}}))""")
_OPENED = re.compile(rf"""
    \{{((?:\s*["']?[A-Za-z_$][\w$]{{0,39}}["']?\s*:\s*{_VALUE}\s*,){{0,12}})\s*
    ["']?(?:name|title|productName|item_name)["']?\s*:\s*\Z""", re.VERBOSE)  # fmt: skip
MAX_BEFORE = 500


def _literals(texts: list[str], titles: tuple[str, ...]) -> Iterator[Item]:
    """Objects of programs that no JSON reader takes: the plain pairs beside the title."""
    for text in texts:
        if text.lstrip()[:1] in ("{", "["):
            continue
        for title in titles:
            for quoted in {json.dumps(title, ensure_ascii=plain) for plain in (True, False)}:
                yield from _around(text, quoted)


def _around(text: str, quoted: str) -> Iterator[Item]:
    at = -1
    for _ in range(MAX_TEXTS):
        at = text.find(quoted, at + 1)
        if at < 0:
            return
        before = text[max(at - MAX_BEFORE, 0) : at]
        opened = before.rfind("{")
        found = _OPENED.match(before, opened) if opened >= 0 else None
        if found is not None:
            pairs = _PAIR.findall(found[1]) + _pairs(text, at + len(quoted))
            yield keys_of({key: v for key, raw in pairs if (v := _string(raw)) is not None})


def _pairs(text: str, at: int) -> list[tuple[str, str]]:
    made: list[tuple[str, str]] = []
    comma = re.compile(r"\s*,").match(text, at)
    while (
        comma and len(made) < 20 and (found := _PAIR.match(text, comma.end() if not made else at))
    ):
        made.append((found[1], found[2]))
        at = found.end()
    return made


def _string(raw: str) -> str | None:
    """A string of a program; names and numbers stand for values that are not known here."""
    if raw[:1] == "'":
        return raw[1:-1] if "\\" not in raw else None
    try:
        value = json.loads(raw)
    except ValueError:
        return None
    return value if isinstance(value, str) else None
