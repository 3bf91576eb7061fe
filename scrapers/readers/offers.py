"""What a schema.org offer costs: flat prices, price specifications, ranges, tiers, members."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

from scrapers.model import Availability, Multibuy, Tax, UnitPrice
from scrapers.readers.claims import Offer
from scrapers.readers.lenient import CONFLICT
from scrapers.readers.values import Value, clean, currency_code, gtin, number, stated
from scrapers.texts import schema_availability

Item = dict[str, Any]
MAX_OFFERS = 500
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


def words(value: Any) -> list[str]:
    """Enumeration members or type names without their address."""
    found: list[str] = []
    if value is None:
        return found
    values = value if isinstance(value, (list, tuple)) else [value]
    for one in values:
        name = one.get("@id") or one.get("name") if isinstance(one, dict) else one
        if isinstance(name, str) and name.strip():
            found.append(name.strip().rsplit("/", 1)[-1].rsplit("#", 1)[-1].rsplit(":", 1)[-1])
    return found


def first(value: Any) -> Any:
    """The first of a list, the content of a typed literal, else the value."""
    if isinstance(value, list):
        value = value[0] if value else None
    if isinstance(value, dict) and "@value" in value:
        return value["@value"]
    return value


def listed(value: Any, index: dict[str, Item]) -> list[Item]:
    """The items of a property, references resolved."""
    found: list[Item] = []
    if value is None:
        return found
    for one in (value if isinstance(value, list) else [value])[:MAX_OFFERS]:
        if isinstance(one, dict):
            ref = one.get("@id")
            found.append(index.get(ref, one) if len(one) == 1 and isinstance(ref, str) else one)
    return found


def offers_of(holder: Item, path: str, index: dict[str, Item]) -> tuple[list[Offer], Offer | None]:
    """The single offers of a thing, and its range if it states one."""
    singles: list[Offer] = []
    aggregate: Offer | None = None
    items = listed(holder.get("offers"), index)
    for n, item in enumerate(items):
        if len(singles) >= MAX_OFFERS:  # all may refer to one long list
            break
        where = f"{path}.offers[{n}]" if len(items) > 1 else f"{path}.offers"
        made = read_offer(item, where, index, holder)
        inner = listed(item.get("offers"), index)
        if inner or made.low is not None or made.high is not None:
            aggregate = aggregate or made
            singles += [
                read_offer(o, f"{where}.offers[{i}]", index, {**holder, **_shared(item)})
                for i, o in enumerate(inner)
            ]
        else:
            singles.append(made)
    return [o for o in singles if o.price is not None or o.zero or o.doubt or _says(o)], aggregate


def _says(offer: Offer) -> bool:
    stock = offer.availability is not Availability.UNKNOWN
    return bool(offer.member_price or offer.multibuy or offer.currency or stock)


def _shared(item: Item) -> Item:
    return {k: item[k] for k in ("priceCurrency", "availability") if k in item}


@dataclass(slots=True)
class _Draft:
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


def read_offer(item: Item, where: str, index: dict[str, Item], holder: Item) -> Offer:
    """One Offer or AggregateOffer; `holder` lends its currency and name."""
    draft = _Draft(currency=_currency(item, holder))
    draft.flat = stated(first(item.get("price")), draft.currency)
    draft.low = _bound(item, draft, "lowPrice", "minPrice")
    draft.high = _bound(item, draft, "highPrice", "maxPrice")
    draft.tax = _tax(item.get("valueAddedTaxIncluded"))
    for spec in listed(item.get("priceSpecification"), index):
        _add_spec(draft, spec)
    _quantity(draft, item)
    return _finish(draft, item, where, index, holder)


def _currency(item: Item, holder: Item) -> str | None:
    for value in (item.get("priceCurrency"), item.get("currency"), holder.get("priceCurrency")):
        code = currency_code(first(value))
        if code:
            return code
    return None


def _bound(item: Item, draft: _Draft, *names: str) -> Decimal | None:
    for name in names:
        value = stated(first(item.get(name)), draft.currency)
        if value.amount is not None:
            draft.currency = draft.currency or value.currency
            return value.amount
    return None


def _tax(value: Any) -> Tax:
    said = str(first(value)).strip().lower() if value is not None else ""
    return Tax.INCLUDED if said in _YES else Tax.EXCLUDED if said in _NO else Tax.UNKNOWN


def _add_spec(draft: _Draft, spec: Item) -> None:
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


def _place(draft: _Draft, spec: Item, value: Value) -> None:
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


def _quantity(draft: _Draft, item: Item) -> None:
    least = _least(item.get("eligibleQuantity"))
    if least is not None and least > 1 and draft.flat.amount is not None:
        draft.multibuy.append(Multibuy(least, draft.flat.amount, "each"))
        draft.flat = Value(None, draft.currency)


def _current(draft: _Draft) -> Value:
    """Flat price first; a sale specification beats a flat price that is the list price."""
    flat = draft.flat
    if draft.sale.amount is not None and (flat.amount is None or flat.amount in draft.lists):
        return draft.sale
    if flat.amount is not None or flat.zero or flat.doubt:
        return flat
    if draft.current.amount is not None or draft.lone_unit is None:
        return draft.current
    return Value(draft.lone_unit, draft.currency)


def _finish(draft: _Draft, item: Item, where: str, index: dict[str, Item], holder: Item) -> Offer:
    now = _current(draft)
    ends = {draft.low, draft.high} - {None}
    closed = draft.low == draft.high or str(first(item.get("offerCount"))).strip() == "1"
    if len(ends) == 1 and closed and now.amount is None:
        now, draft.low, draft.high = Value(ends.pop(), draft.currency), None, None
    inner = (listed(item.get("itemOffered"), index) or [{}])[0]
    member = bool(item.get("validForMemberTier"))
    free = now.zero and _free(item, holder)
    price = Decimal(0) if free else now.amount
    return Offer(
        where=where,
        price=price,
        text=str(first(item.get("price")) or ""),
        currency=draft.currency or now.currency,
        list_price=max((v for v in draft.lists if v != now.amount), default=None),
        low=draft.low,
        high=draft.high,
        availability=availability(item, holder),
        tax=draft.tax,
        member_price=now.amount if member else draft.member,
        unit_price=draft.unit,
        multibuy=tuple(draft.multibuy),
        shipping=_shipping(item, index),
        name=clean(item.get("name") or inner.get("name") or holder.get("name"), 200),
        sku=number(item.get("sku") or inner.get("sku") or holder.get("sku")),
        gtin=code_of(item) or code_of(holder),
        mpn=number(item.get("mpn") or holder.get("mpn")),
        url=clean(item.get("url"), 2000),
        country=_country(item, index),
        zero=now.zero and not free,
        used=not _USED.isdisjoint(words(item.get("itemCondition"))),
        doubt="the price is for members only" if member else _doubt(item, now),
    )


_USED = frozenset({"UsedCondition", "DamagedCondition", "RefurbishedCondition"})


def _doubt(item: Item, now: Value) -> str | None:
    if item.get(CONFLICT):
        return f"the markup states {item[CONFLICT]} twice, differently"
    return now.doubt


_GTINS = ("gtin", "gtin13", "gtin14", "gtin12", "gtin8", "isbn", "productID")


def code_of(item: Item) -> str | None:
    """The first identifier of an item that is a GTIN."""
    for key in _GTINS:
        if key in item:
            code = gtin(str(first(item[key])).removeprefix("ean:").removeprefix("gtin:"))
            if code is not None:
                return code
    return None


def availability(item: Item, holder: Item) -> Availability:
    """The schema.org availability word of an offer, or of what holds it."""
    for value in (item.get("availability"), holder.get("availability")):
        for word in words(value):
            found = schema_availability(word)
            if found is not None and found is not Availability.UNKNOWN:
                return found
    return Availability.UNKNOWN


def _free(item: Item, holder: Item) -> bool:
    """Lending and events may truly cost nothing; goods for sale do not."""
    lent = "LeaseOut" in words(item.get("businessFunction"))
    kinds = words(holder.get("@type") or holder.get("type"))
    return lent or bool(kinds and "Product" not in kinds)


def _country(item: Item, index: dict[str, Item]) -> str | None:
    for place in listed(item.get("availableAtOrFrom"), index):
        address = first(place.get("address"))
        code = clean(first(address.get("addressCountry")), 2) if isinstance(address, dict) else None
        if code and len(code) == 2:
            return code.upper()
    return None


def _shipping(item: Item, index: dict[str, Item]) -> Decimal | None:
    for detail in listed(item.get("shippingDetails"), index):
        for rate in listed(detail.get("shippingRate"), index):
            raw = first(rate.get("value"))
            try:
                amount = Decimal(str(raw))
            except InvalidOperation:
                continue
            if amount.is_finite() and 0 <= amount < 10**6 and not isinstance(raw, bool):
                return amount
    return None
