"""Amounts, currencies and stock of the objects that state scripts hold, whatever they call them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from scrapers.model import Availability
from scrapers.readers.values import Value, currency_code, minor_units, stated
from scrapers.texts import schema_availability

Item = dict[str, Any]
MANY = 100
MINOR = "a whole number, perhaps in cents"
NOW = ("saleprice", "specialprice", "finalprice", "currentprice", "price", "displayprice",
        "sellingprice", "offerprice", "salesprice", "priceamount", "nowprice")  # fmt: skip
_WAS = ("compareatprice", "listprice", "regularprice", "oldprice", "originalprice", "wasprice",
        "displayregularprice", "rrp", "msrp", "strikeprice", "priceundiscounted",
        "undiscountedprice", "strikethroughprice")  # fmt: skip
_CENTS = ("centamount", "priceincents", "pricecents", "amountincents", "unitamount")
_INNER = (
    "amount",
    "value",
    "calculatedamount",
    "current",
    "now",
    "final",
    "sale",
    "centamount",
    "price",
    "gross",
)
_CURRENCY = (
    "currency",
    "currencyunit",
    "currencycode",
    "pricecurrency",
    "currencyisocode",
    "currencyiso",
)


def keys_of(item: Item) -> dict[str, Any]:
    return {k.replace("_", "").replace("-", "").lower(): v for k, v in item.items() if len(k) < 40}


def currency_in(keys: Item) -> str | None:
    for name in _CURRENCY:
        value = keys.get(name)
        if isinstance(value, dict):
            value = value.get("code") or value.get("isoCode") or value.get("iso_code")
        code = currency_code(value)
        if code:
            return code
    return None


def amount_of(
    keys: Item, names: tuple[str, ...], currency: str | None, *, cents: bool
) -> tuple[Value, str | None]:
    for name in (*_CENTS, *names) if names is NOW else names:
        for raw in _told(keys, name):
            if isinstance(raw, dict):
                inner = keys_of(raw)
                currency = currency_in(inner) or currency
                value, currency = amount_of(inner, (*_INNER, *NOW), currency, cents=cents)
            else:
                value = _scaled(raw, currency, minor=cents or name in _CENTS)
            if value.amount is not None:
                return value, value.currency or currency
    return Value(None), currency


def _told(keys: Item, name: str) -> tuple[Any, ...]:
    """What stands under a key; before a whole number, perhaps cents, the sum with its currency."""
    raw = keys.get(name)
    if raw is None:
        return ()
    money = keys.get(f"{name}money") if type(raw) is int else None
    return (money, raw) if isinstance(money, dict) else (raw,)


def whole(amount: Decimal | None) -> Value:
    """An amount that was read before; as a large whole number it may be in cents."""
    cents = amount is not None and amount >= MANY and amount.as_tuple().exponent == 0
    return Value(amount, doubt=MINOR if cents else None)


def _scaled(raw: Any, currency: str | None, *, minor: bool) -> Value:
    if isinstance(raw, bool) or raw is None or isinstance(raw, (list, dict)):
        return Value(None)
    value = stated(raw, currency)
    if value.amount is None or not isinstance(raw, int):
        return value
    if minor:
        places = minor_units(currency) or 2
        return Value(value.amount.scaleb(-places), currency)
    return Value(value.amount, currency, MINOR if value.amount >= MANY else None)


_HOLDERS = (
    "mastervariant", "defaultvariant", "selectedvariant", "currentvariant", "variant",
    "defaultproductvariant", "priceinfo", "pricing", "prices", "pricerange", "pricerangev2",
    "price", "pricev2", "offer", "offers", "items", "sellers", "commertialoffer", "start",
    "minvariantprice", "minimumprice", "calculatedprice",
)  # fmt: skip
_UPPER = {"pricerange": ("stop", "maxvariantprice", "maximumprice"),
          "pricerangev2": ("maxvariantprice",)}  # fmt: skip
MAX_HOLDERS = 5


def priced(
    keys: Item, currency: str | None, *, cents: bool, depth: int = 0
) -> tuple[Value, str | None]:
    """The amount of a thing: its own, else that of the variant or price block it holds."""
    value, currency = amount_of(keys, NOW, currency, cents=cents)
    if value.amount is not None or depth > MAX_HOLDERS:
        return value, currency
    for name in _HOLDERS:
        held = keys.get(name)
        if isinstance(held, list) and len(held) == 1:
            held = held[0]
        if not isinstance(held, dict):
            continue
        inner = keys_of(held)
        money = currency_in(inner) or currency
        found, money = priced(inner, money, cents=cents, depth=depth + 1)
        if found.amount is None:
            found, money = amount_of(inner, _INNER, money, cents=cents)
        if found.amount is not None and not _spread(inner, name, found, money, cents=cents):
            return found, money
    return Value(None), currency


def _spread(inner: Item, name: str, low: Value, currency: str | None, *, cents: bool) -> bool:
    """Whether a price range ends above its low end: then no one price is told."""
    for upper in _UPPER.get(name, ()):
        held = inner.get(upper)
        if isinstance(held, dict):
            high, _ = priced(keys_of(held), currency, cents=cents, depth=MAX_HOLDERS)
            if high.amount is None:
                high, _ = amount_of(keys_of(held), _INNER, currency, cents=cents)
            return high.amount is not None and high.amount != low.amount
    return False


def was_of(keys: Item, currency: str | None, *, cents: bool) -> Value:
    """The old price, beside the price or in the one block that holds it."""
    value, _ = amount_of(keys, _WAS, currency, cents=cents)
    for name in _HOLDERS if value.amount is None else ():
        held = keys.get(name)
        if isinstance(held, dict):
            value, _ = amount_of(keys_of(held), _WAS, currency, cents=cents)
            if value.amount is not None:
                break
    return value


def stock_of(keys: Item) -> Availability:
    for name in ("available", "isinstock", "instock", "isavailable", "isonstock",
                 "availableforsale"):  # fmt: skip
        if isinstance(keys.get(name), bool):
            return Availability.IN_STOCK if keys[name] else Availability.OUT_OF_STOCK
    words = (keys.get(n) for n in ("availability", "stockstatus", "availabilitystatus",
                                   "stocklevelstatus"))  # fmt: skip
    word = next((w for w in words if w), None)
    found = schema_availability(word) if isinstance(word, str) and len(word) < 80 else None
    if found:
        return found
    for name in ("availability", "stock", "mastervariant", "defaultvariant", "variant"):
        inner = keys.get(name)
        if (
            isinstance(inner, dict)
            and (said := stock_of(keys_of(inner))) is not Availability.UNKNOWN
        ):
            return said
    counts = (keys.get(n) for n in ("quantityavailable", "availablequantity", "stocklevel"))
    count = next((c for c in counts if isinstance(c, int) and not isinstance(c, bool)), None)
    if count is None:
        return Availability.UNKNOWN
    return Availability.IN_STOCK if count > 0 else Availability.OUT_OF_STOCK
