"""schema.org items, from whichever syntax, into products and offers (vocabulary 30.0).

An item is a dict: "@type" a list of bare type names, properties by name, values
str, number, item or list. `walk` finds the products; `offers_of` reads what they cost.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from scrapers.model import Choice, Ids, Source
from scrapers.readers.claims import Offer, Product
from scrapers.readers.items import Item, code_of, first, listed, words
from scrapers.readers.offers import offers_of
from scrapers.readers.values import brand_name, clean, currency_code, number

MAX_DEPTH = 64
MAX_NODES = 20_000
MAX_TOLD = 5_000  # offers of all things of a page
MAX_VARIANTS = 500
_GOODS = frozenset(
    [
        "Product",
        "ProductGroup",
        "IndividualProduct",
        "ProductModel",
        "ProductCollection",
        "SomeProducts",
        "Vehicle",
        "Car",
        "Motorcycle",
        "Book",
        "Drug",
    ]
)
_OFFERS = frozenset({"Offer", "AggregateOffer", "OfferForPurchase", "OfferForLease"})
# what stands under these keys is another thing than the page's own
_NEIGHBOURS = frozenset(
    [
        "isRelatedTo",
        "isSimilarTo",
        "isAccessoryOrSparePartFor",
        "isConsumableFor",
        "itemListElement",
        "itemReviewed",
        "addOn",
        "hasOfferCatalog",
        "makesOffer",
        "isPartOf",
        "additionalProperty",
        "knowsAbout",
        "about",
        "mentions",
    ]
)
_SKIP = frozenset(
    [
        "offers",
        "hasVariant",
        "hasCourseInstance",
        "review",
        "reviews",
        "aggregateRating",
        "brand",
        "manufacturer",
        "seller",
        "offeredBy",
        "provider",
        "hasMemberProgram",
        "hasMerchantReturnPolicy",
        "shippingDetails",
        "priceSpecification",
        "image",
        "author",
        "publisher",
        "@context",
    ]
)


def types(item: Item) -> list[str]:
    """Bare type names of an item: "http://schema.org/Product" gives "Product"."""
    return words(item.get("@type") or item.get("type") or ())


def products(roots: list[tuple[str, Any]], source: Source, *, linked: bool = True) -> list[Product]:
    """Every priced or goods-typed thing in the roots (path, value), in document order.

    `linked`: whether items may refer to each other by @id.
    """
    index = _index(roots) if linked else {}
    found: list[Product] = []
    offers = 0
    for path, item, main in _walk(roots, _owned(roots) if linked else set()):
        kinds = types(item)
        if _OFFERS.intersection(kinds):
            made = _from_offer(item, path, source, index, main=main)
        else:
            made = _product(item, path, source, index, main=main)
        if made is not None:
            found.append(made)
            offers += len(made.offers)
        if offers > MAX_TOLD:  # things that refer to the same list tell it again and again
            break
    return found


def _index(roots: list[tuple[str, Any]]) -> dict[str, Item]:
    """Full items by @id, for references inside a graph."""
    index: dict[str, Item] = {}
    stack = [(value, 0) for _, value in roots]
    seen = 0
    while stack and seen < MAX_NODES:
        value, depth = stack.pop()
        seen += 1
        if isinstance(value, dict):
            name = value.get("@id")
            if isinstance(name, str) and len(value) > 1:
                index.setdefault(name, value)
            value = list(value.values())
        if isinstance(value, list) and depth < MAX_DEPTH:
            stack.extend((v, depth + 1) for v in value if isinstance(v, (dict, list)))
    return index


def resolve(value: Any, index: dict[str, Item]) -> Any:
    """The item that a bare {"@id": ...} points to, else the value itself."""
    if isinstance(value, dict) and len(value) == 1 and isinstance(value.get("@id"), str):
        return index.get(value["@id"], value)
    return value


def _is_thing(item: Item) -> bool:
    kinds = types(item)
    return bool(
        "offers" in item
        or "hasCourseInstance" in item
        or "totalPaymentDue" in item
        or _GOODS.intersection(kinds)
        or _OFFERS.intersection(kinds)
    )


def _walk(roots: list[tuple[str, Any]], owned: set[str]) -> Iterator[tuple[str, Item, bool]]:
    stack = [(path, value, True, 0) for path, value in reversed(roots)]
    seen = 0
    while stack and seen < MAX_NODES:
        path, value, main, depth = stack.pop()
        seen += 1
        if depth > MAX_DEPTH:
            continue
        if isinstance(value, list):
            stack.extend(
                (f"{path}[{i}]", v, main, depth + 1) for i, v in reversed(list(enumerate(value)))
            )
        elif isinstance(value, dict):
            if "Offers" in value:
                value = _small_letters(value)
            thing = _is_thing(value)
            name = value.get("@id")  # a list, where the markup is broken
            if thing and not (isinstance(name, str) and name in owned):
                yield path, value, main
            stack.extend(_children(path, value, main=main, thing=thing, depth=depth))


def _small_letters(item: Item) -> Item:
    """A thing whose properties are written with capitals ("Offers", "Availability")."""
    made = {k[:1].lower() + k[1:]: v for k, v in item.items()}
    offers = made["offers"]
    listed = offers if isinstance(offers, list) else [offers]
    made["offers"] = [
        {k[:1].lower() + k[1:]: v for k, v in o.items()} if isinstance(o, dict) else o
        for o in listed
    ]
    return made


def _children(
    path: str, item: Item, *, main: bool, thing: bool, depth: int
) -> list[tuple[str, Any, bool, int]]:
    made = []
    for key, value in item.items():
        if key in _SKIP or not isinstance(value, (dict, list)):
            continue
        inner = main and not thing and key not in _NEIGHBOURS
        made.append((f"{path}.{key}", value, inner, depth + 1))
    return made[::-1]


def _owned(roots: list[tuple[str, Any]]) -> set[str]:
    """@ids that some product names as its offer or variant: not things of their own."""
    owned: set[str] = set()
    stack = [value for _, value in roots]
    seen = 0
    while stack and seen < MAX_NODES:
        value = stack.pop()
        seen += 1
        if isinstance(value, list):
            stack.extend(value)
        elif isinstance(value, dict):
            for key in ("offers", "hasVariant"):
                refs = value.get(key)
                for ref in refs if isinstance(refs, list) else [refs]:
                    if isinstance(ref, dict) and len(ref) == 1 and isinstance(ref.get("@id"), str):
                        owned.add(ref["@id"])
            stack.extend(v for v in value.values() if isinstance(v, (dict, list)))
    return owned


def _ids(item: Item, index: dict[str, Item]) -> Ids:
    brand = resolve(item.get("brand") or item.get("manufacturer"), index)
    if isinstance(brand, list):
        brand = brand[0] if brand else None
    if isinstance(brand, dict):
        brand = brand.get("name")
    return Ids(
        gtin=code_of(item),
        mpn=number(item.get("mpn")),
        sku=number(item.get("sku")),
        brand=brand_name(brand),
    )


def _model(item: Item, index: dict[str, Item]) -> str | None:
    """A `model` that is a number of the maker's; most are names ("Falcon 2", "Pro")."""
    model = resolve(item.get("model"), index)
    if isinstance(model, dict):
        own = number(model.get("mpn"))
        if own is not None:
            return own
        model = model.get("name")
    text = number(model) if isinstance(model, str) else None
    return text if text and _MODEL.fullmatch(text) and text != number(item.get("sku")) else None


# letters and digits without blanks; a year, a size or a plain number says little
_MODEL = re.compile(r"(?=[^\s]*\d)(?=[^\s]*[A-Za-z])[A-Za-z\d][\w./+-]{3,39}", re.ASCII)


def _product(
    item: Item, path: str, source: Source, index: dict[str, Item], *, main: bool
) -> Product | None:
    offers, aggregate = offers_of(item, path, index)
    if not offers and aggregate is None and "price" in item:  # themes that forgot the Offer
        offers, aggregate = offers_of({**item, "offers": item}, path, index)
    choices: list[Choice] = []
    for n, run in enumerate(listed(item.get("hasCourseInstance"), index)):
        offers += offers_of(run, f"{path}.hasCourseInstance[{n}]", index)[0]
    variants = item.get("hasVariant")
    for n, ref in enumerate(variants if isinstance(variants, list) else [variants]):
        variant = resolve(ref, index)
        if isinstance(variant, dict) and n < MAX_VARIANTS and len(offers) < 2 * MAX_VARIANTS:
            found, _ = offers_of(variant, f"{path}.hasVariant[{n}]", index)
            offers += found
            choices += [_choice(o) for o in found]
    if len(offers) > 1 and not choices:
        choices = [_choice(o) for o in offers if o.price is not None]
    goods = bool(_GOODS.intersection(types(item)))
    ids = _ids(item, index)
    if ids.mpn is None and source is Source.JSONLD:  # themes mark the shop's number by `model`
        ids = replace(ids, mpn=_model(item, index))
    return Product(
        source=source,
        where=path,
        title=clean(item.get("name")),
        ids=ids if ids.sku else replace(ids, sku=_group_number(item, offers)),
        url=clean(item.get("url") or item.get("@id"), 2000),
        main=main,
        goods=goods,
        offers=tuple(offers),
        aggregate=aggregate or _bill(item, path),
        choices=tuple(choices),
        description=clean(item.get("description"), 2000),
    )


def _group_number(item: Item, offers: list[Offer]) -> str | None:
    """The number of a group of variants, where the numbers of all of them begin with it."""
    number_of = number(item.get("productGroupID"))
    skus = [o.sku for o in offers if o.sku]
    if not number_of or len(skus) < MIN_VARIANTS:
        return None
    shared = all(sku.casefold().startswith(number_of.casefold()) for sku in skus)
    return number_of if shared and len(number_of) >= MIN_NUMBER else None


MIN_VARIANTS, MIN_NUMBER = 2, 3


def _bill(item: Item, path: str) -> Offer | None:
    """An invoice states a sum, not a price; only its currency is worth telling."""
    due = first(item.get("totalPaymentDue"))
    if not isinstance(due, dict):
        return None
    return Offer(f"{path}.totalPaymentDue", currency=currency_code(first(due.get("priceCurrency"))))


def _choice(offer: Offer) -> Choice:
    return Choice(
        name=offer.name or offer.sku or "",
        sku=offer.sku,
        price=offer.price,
        currency=offer.currency,
        availability=offer.availability,
        country=offer.country,
    )


def _from_offer(
    item: Item, path: str, source: Source, index: dict[str, Item], *, main: bool
) -> Product | None:
    """An offer that no product holds: the product stands inside it, or is the page."""
    inner = resolve(item.get("itemOffered"), index)
    inner = inner if isinstance(inner, dict) else {}
    offers, aggregate = offers_of({"offers": item}, path, index)
    return Product(
        source=source,
        where=path,
        title=clean(inner.get("name")),
        ids=_ids(inner or item, index),
        url=clean(item.get("url"), 2000),
        main=main,
        goods=bool(_GOODS.intersection(types(inner))) or not inner,
        offers=tuple(offers),
        aggregate=aggregate,
    )
