"""What a schema.org offer costs: flat prices, price specifications, ranges, tiers, members."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal, InvalidOperation

from scrapers.model import Availability
from scrapers.readers.claims import Offer
from scrapers.readers.items import MAX_OFFERS, Item, code_of, first, listed, words
from scrapers.readers.lenient import CONFLICT
from scrapers.readers.pricespecs import Draft, drafted
from scrapers.readers.values import Value, clean, number
from scrapers.texts import schema_availability

_USED = frozenset({"UsedCondition", "DamagedCondition", "RefurbishedCondition"})


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


def read_offer(item: Item, where: str, index: dict[str, Item], holder: Item) -> Offer:
    """One Offer or AggregateOffer; `holder` lends its currency and name."""
    return _finish(drafted(item, index, holder), item, where, index, holder)


def _finish(draft: Draft, item: Item, where: str, index: dict[str, Item], holder: Item) -> Offer:
    now = _settled(draft, item)
    inner = (listed(item.get("itemOffered"), index) or [{}])[0]
    member = bool(item.get("validForMemberTier")) or draft.member == now.amount is not None
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
        availability=_availability(item, holder),
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
        seller=_seller(item, index),
        until=_until(item),
        doubt="the price is for members only" if member else _doubt(item, now),
    )


def _seller(item: Item, index: dict[str, Item]) -> str | None:
    held = item.get("seller") or item.get("offeredBy")
    names = [clean(one.get("name"), 80) for one in listed(held, index)]
    return next((name for name in names if name), None)


def _until(item: Item) -> date | None:
    """The day of a priceValidUntil by ISO 8601; years that no shop means say nothing."""
    text = first(item.get("priceValidUntil"))
    found = _DAY.match(text) if isinstance(text, str) else None
    try:
        day = date.fromisoformat(found[0]) if found else None
    except ValueError:
        return None
    return day if day is not None and day.year > FIRST_YEAR else None


_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
FIRST_YEAR = 2000


def _settled(draft: Draft, item: Item) -> Value:
    """The price now: a range with one end that stands closed, or for one offer, gives way to it."""
    now, ends = draft.now(), {draft.low, draft.high} - {None}
    closed = draft.low == draft.high or str(first(item.get("offerCount"))).strip() == "1"
    if len(ends) == 1 and closed and now.amount is None:
        now, draft.low, draft.high = Value(ends.pop(), draft.currency), None, None
    return now


def _doubt(item: Item, now: Value) -> str | None:
    if item.get(CONFLICT):
        return f"the markup states {item[CONFLICT]} twice, differently"
    return now.doubt


def _availability(item: Item, holder: Item) -> Availability:
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
