"""Two vocabularies that schema.org took over, into its names: old shops still print them.

Names: GoodRelations 1.0, "Language Reference"; data-vocabulary.org Product and Offer (from memory).
"""

from __future__ import annotations

import re
from typing import Any

Item = dict[str, Any]
_RELATIONS = {
    "gr:Offering": "Offer", "gr:SomeItems": "Product", "gr:Individual": "Product",
    "gr:ProductOrServiceModel": "ProductModel", "gr:ActualProductOrServiceInstance": "Product",
    "gr:ProductOrServicesSomeInstancesPlaceholder": "Product",
    "gr:UnitPriceSpecification": "UnitPriceSpecification",
    "gr:DeliveryChargeSpecification": "DeliveryChargeSpecification",
    "gr:PaymentChargeSpecification": "PaymentChargeSpecification",
    "gr:name": "name", "gr:description": "description", "gr:includes": "itemOffered",
    "gr:hasStockKeepingUnit": "sku", "gr:hasMPN": "mpn", "gr:hasEAN_UCC-13": "gtin13",
    "gr:hasGTIN-14": "gtin14", "gr:hasGTIN-8": "gtin8", "gr:hasManufacturer": "manufacturer",
    "gr:hasBrand": "brand", "gr:hasPriceSpecification": "priceSpecification",
    "gr:hasCurrency": "priceCurrency", "gr:hasCurrencyValue": "price",
    "gr:hasMinCurrencyValue": "minPrice", "gr:hasMaxCurrencyValue": "maxPrice",
    "gr:valueAddedTaxIncluded": "valueAddedTaxIncluded",
}  # fmt: skip
# how an item hangs on the one around it where the relation stands on an element between them
_HANGS = {
    "gr:UnitPriceSpecification": "gr:hasPriceSpecification",
    "gr:DeliveryChargeSpecification": "gr:hasPriceSpecification",
    "gr:PaymentChargeSpecification": "gr:hasPriceSpecification",
    "gr:SomeItems": "gr:includes", "gr:Individual": "gr:includes",
    "gr:ProductOrServiceModel": "gr:includes", "gr:ActualProductOrServiceInstance": "gr:includes",
    "gr:ProductOrServicesSomeInstancesPlaceholder": "gr:includes",
}  # fmt: skip
_ADDRESS = re.compile(r"\Ahttps?://purl\.org/goodrelations/v1#")
_OLD = re.compile(r"\Ahttps?://(?:www\.|rdf\.)?data-vocabulary\.org/")
_NAMES = {"offerDetails": "offers", "currency": "priceCurrency"}
_NUMBER = re.compile(r"\s*(sku|mpn|isbn|upc|ean|gtin)\s*:\s*(\S.*)", re.IGNORECASE)
_CODES = {"isbn": "gtin13", "upc": "gtin12", "ean": "gtin13", "gtin": "gtin"}
MAX_DEPTH = 20


def hangs_by(kinds: str | None) -> str:
    """The relation of an item of these types to the one around it; "" where it needs none."""
    return _HANGS.get(_ADDRESS.sub("gr:", (kinds or "").split(None, 1)[0] if kinds else ""), "")


def modern(item: Item, depth: int = 0) -> Item:
    """An item of either vocabulary with schema.org's types and names; any other as it is."""
    kinds = [str(kind) for kind in item.get("@type") or ()]
    if depth > MAX_DEPTH:
        return item
    if any(_OLD.match(kind) for kind in kinds):
        return _of_old(item, depth)
    if any(kind.startswith("gr:") or _ADDRESS.match(kind) for kind in kinds):
        return _of_relations(item, kinds, depth)
    return item


def _inner(value: Any, depth: int) -> Any:
    if isinstance(value, list):
        return [_inner(one, depth) for one in value]
    return modern(value, depth + 1) if isinstance(value, dict) else value


def _of_old(item: Item, depth: int) -> Item:
    made = {_NAMES.get(name, name): _inner(value, depth) for name, value in item.items()}
    for text in _texts(made.pop("identifier", None)):
        if found := _NUMBER.match(text):
            name = found[1].lower()
            made.setdefault(_CODES.get(name, name), found[2].strip())
    return made


def _texts(value: Any) -> list[str]:
    return [v for v in (value if isinstance(value, list) else [value]) if isinstance(v, str)]


def _of_relations(item: Item, kinds: list[str], depth: int) -> Item:
    bare = {_ADDRESS.sub("gr:", name): _inner(value, depth) for name, value in item.items()}
    made = {_RELATIONS.get(name, name): value for name, value in bare.items()}
    made["@type"] = [_RELATIONS.get(k, k) for k in (_ADDRESS.sub("gr:", k) for k in kinds)]
    return made
