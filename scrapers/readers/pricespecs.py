"""What the flat price and the price specifications of one schema.org offer add up to."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from scrapers.model import Multibuy, Tax, UnitPrice
from scrapers.readers.items import Item, first, listed, words
from scrapers.readers.values import Value, clean, currency_code, stated

# PriceTypeEnumeration: claims to store beside the price, never the price
_CLAIMS = frozenset(
    [
        "ListPrice",
        "MSRP",
        "SRP",
        "RegularPrice",
        "StrikethroughPrice",
        "MinimumAdvertisedPrice",
        "InvoicePrice",
    ]
)
_PARTS = frozenset(
    ["ActivationFee", "CleaningFee", "DistanceFee", "Downpayment", "Installment", "Subscription"]
)
_OTHER_SPECS = frozenset({"DeliveryChargeSpecification", "PaymentChargeSpecification"})
# UN/CEFACT Recommendation 20 common codes (from memory) as people write them
_UNIT_CODES = {
    "KGM": "kg", "GRM": "g", "LTR": "l", "MLT": "ml", "MTR": "m", "CMT": "cm",
    "MMT": "mm", "MTK": "m2", "MTQ": "m3", "C62": "piece", "H87": "piece", "EA": "piece",
}  # fmt: skip
_YES = frozenset({"true", "1", "yes", "http://schema.org/true", "https://schema.org/true"})
_NO = frozenset({"false", "0", "no", "http://schema.org/false", "https://schema.org/false"})


@dataclass(slots=True)
class Draft:
    """What the price specifications of one offer add up to."""

    flat: Value = field(default_factory=lambda: Value(None))
    sale: Value = field(default_factory=lambda: Value(None))
    current: Value = field(default_factory=lambda: Value(None))
    lists: list[Decimal] = field(default_factory=list)
    member: Decimal | None = None
    unit: UnitPrice | None = None
    lone_unit: Decimal | None = None
    multibuy: list[Multibuy] = field(default_factory=list)
    low: Decimal | None = None
    high: Decimal | None = None
    tax: Tax = Tax.UNKNOWN
    currency: str | None = None

    def now(self) -> Value:
        """Flat price first; a sale specification beats a flat price that is the list price."""
        flat, sale = self.flat, self.sale
        if sale.amount is not None and (flat.amount is None or flat.amount in self.lists):
            return sale
        if flat.amount is not None or flat.zero or flat.doubt:
            return flat
        if self.current.amount is not None or self.lone_unit is None:
            return self.current
        return Value(self.lone_unit, self.currency)


def drafted(item: Item, index: dict[str, Item], holder: Item) -> Draft:
    """The prices of one Offer or AggregateOffer; `holder` lends its currency."""
    draft = Draft(currency=_currency(item, holder))
    draft.flat = stated(first(item.get("price")), draft.currency)
    draft.low = _bound(item, draft, "lowPrice", "minPrice")
    draft.high = _bound(item, draft, "highPrice", "maxPrice")
    draft.tax = _tax(item.get("valueAddedTaxIncluded"))
    for spec in listed(item.get("priceSpecification"), index):
        _add_spec(draft, spec)
    _quantity(draft, item)
    return draft


def _currency(item: Item, holder: Item) -> str | None:
    for value in (item.get("priceCurrency"), item.get("currency"), holder.get("priceCurrency")):
        code = currency_code(first(value))
        if code:
            return code
    return None


def _bound(item: Item, draft: Draft, *names: str) -> Decimal | None:
    for name in names:
        value = stated(first(item.get(name)), draft.currency)
        if value.amount is not None:
            draft.currency = draft.currency or value.currency
            return value.amount
    return None


def _tax(value: Any) -> Tax:
    said = str(first(value)).strip().lower() if value is not None else ""
    return Tax.INCLUDED if said in _YES else Tax.EXCLUDED if said in _NO else Tax.UNKNOWN


def _add_spec(draft: Draft, spec: Item) -> None:
    kinds = set(words(spec.get("@type") or spec.get("type")))
    if kinds & _OTHER_SPECS or set(words(spec.get("priceComponentType"))) & _PARTS:
        return
    parts = listed(spec.get("priceComponent"), {})  # of a compound price: no sum, one currency
    for holder in (spec, *parts[:1]):
        draft.currency = draft.currency or currency_code(first(holder.get("priceCurrency")))
    value = stated(first(spec.get("price")), draft.currency)
    draft.low = draft.low or _bound(spec, draft, "minPrice")
    draft.high = draft.high or _bound(spec, draft, "maxPrice")
    if draft.tax is Tax.UNKNOWN:
        draft.tax = _tax(spec.get("valueAddedTaxIncluded"))
    _place(draft, spec, value)


def _place(draft: Draft, spec: Item, value: Value) -> None:
    kind = next(iter(words(spec.get("priceType"))), "")
    least = _least(spec.get("eligibleQuantity"))
    per = _per(spec.get("referenceQuantity"))
    if value.amount is None:
        draft.current = draft.current if draft.current.amount else value
    elif spec.get("validForMemberTier"):
        draft.member = value.amount
    elif kind in _CLAIMS:
        draft.lists.append(value.amount)
    elif least is not None and least > 1:
        draft.multibuy.append(Multibuy(least, value.amount, "each"))
    elif per is not None:
        draft.unit = draft.unit or UnitPrice(value.amount, per)
        draft.lone_unit = draft.lone_unit or value.amount
    elif kind == "SalePrice" and draft.sale.amount is None:
        draft.sale = value
    elif draft.current.amount is None:
        draft.current = value


def _least(value: Any) -> int | None:
    """MinValue of an eligibleQuantity: below it the price does not hold."""
    item = first(value)
    if not isinstance(item, dict):
        return None
    number = stated(first(item.get("minValue")))
    return int(number.amount) if number.amount is not None else None


def _per(value: Any) -> str | None:
    """ReferenceQuantity as "m2" or "100 g"; None for one piece, which is a plain price."""
    item = first(value)
    if not isinstance(item, dict):
        return None
    unit = clean(first(item.get("unitCode") or item.get("unitText")), 20) or "piece"
    unit = _UNIT_CODES.get(unit.upper(), unit)
    number = stated(first(item.get("value"))).amount or Decimal(1)
    if unit == "piece" and number == 1:
        return None
    return unit if number == 1 else f"{number.normalize():f} {unit}"


def _quantity(draft: Draft, item: Item) -> None:
    least = _least(item.get("eligibleQuantity"))
    if least is not None and least > 1 and draft.flat.amount is not None:
        draft.multibuy.append(Multibuy(least, draft.flat.amount, "each"))
        draft.flat = Value(None, draft.currency)
