"""OpenGraph and product metas, and what the head says of the page itself."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from scrapers.model import Availability, Ids, Source
from scrapers.readers.claims import Offer, Product
from scrapers.readers.dom import Doc
from scrapers.readers.values import Value, brand_name, clean, currency_code, gtin, stated
from scrapers.texts import read_price, schema_availability

# in order of trust: what is paid now, before what is merely a price
_SALE = ("product:sale_price:amount", "product:sale_price", "og:sale_price:amount")
_NOW = (
    "product:price:amount", "og:price:amount", "product:price", "og:price", "twitter:price",
)  # fmt: skip
_LIST = (
    "product:original_price:amount", "og:price:standard_amount", "product:price:standard_amount",
    "og:standard_amount", "product:original_price",
)  # fmt: skip
_NET = ("product:pretax_price:amount",)
_CURRENCY = ("product:price:currency", "og:price:currency", "product:sale_price:currency",
             "og:currency",  "currency", "product:pretax_price:currency",
             "product:original_price:currency")  # fmt: skip
_STOCK = ("product:availability", "og:availability", "og:product:availability")


@dataclass(frozen=True, slots=True)
class Head:
    """What the head says of the page: kind, language of its numbers, title, orders to robots."""

    title: str | None
    kind: str | None
    locale: str | None
    noindex: bool


def head(doc: Doc) -> Head:
    """The head's own words, cleaned."""
    metas = dict(reversed(doc.metas))
    return Head(
        title=clean(metas.get("og:title")) or clean(metas.get("twitter:title")),
        kind=(metas.get("og:type") or "").lower() or None,
        locale=metas.get("og:locale") or doc.lang,
        noindex="noindex" in (metas.get("robots") or "").lower(),
    )


def _first(
    metas: dict[str, str], names: tuple[str, ...], currency: str | None
) -> tuple[str, Value]:
    for name in names:
        if name in metas:
            value = stated(metas[name], currency)
            if value.amount is not None or value.zero or value.doubt:
                return name, value
    return "", Value(None)


def read(doc: Doc) -> Product | None:
    """The product of the price metas, None without a price or a stock word."""
    metas = dict(reversed(doc.metas))  # the first of a name holds
    currency = next((c for n in _CURRENCY if (c := currency_code(metas.get(n)))), None)
    name, value = _first(metas, _SALE, currency)
    plain_name, plain = _first(metas, _NOW, currency)
    if value.amount is None:
        name, value, plain = plain_name, plain, Value(None)
    if value.amount is None and not value.zero and not value.doubt:
        name, value = _labelled(metas, currency)
    words = next((metas[n] for n in _STOCK if metas.get(n)), None)
    if value.amount is None and not value.zero and not value.doubt and words is None:
        return None
    return _made(metas, name, value, plain, currency, words)


def _made(
    metas: dict[str, str], name: str, value: Value, plain: Value, currency: str | None,
    words: str | None,
) -> Product:  # fmt: skip
    _, listed = _first(metas, _LIST, currency)
    higher = [v for v in (listed.amount, plain.amount) if v and value.amount and v > value.amount]
    found = schema_availability(words) if words else None
    offer = Offer(
        where=f"meta[{name}]",
        price=value.amount,
        text=metas.get(name, ""),
        currency=currency or value.currency,
        list_price=max(higher, default=None),
        zero=value.zero,
        doubt=value.doubt,
        availability=found or Availability.UNKNOWN,
    )
    ids = Ids(
        gtin=gtin(
            metas.get("product:ean") or metas.get("product:gtin") or metas.get("product:upc")
        ),
        mpn=clean(metas.get("product:mfr_part_no"), 80),
        sku=clean(
            metas.get("product:retailer_item_id") or metas.get("product:retailer_part_no"), 80
        ),
        brand=brand_name(metas.get("product:brand") or metas.get("og:brand")),
    )
    return Product(Source.META, f"meta[{name}]", clean(metas.get("og:title")), ids, offers=(offer,))


def _labelled(metas: dict[str, str], currency: str | None) -> tuple[str, Value]:
    """twitter:label1 = "Price", twitter:data1 = "€12.95"."""
    for n in ("1", "2"):
        label = metas.get(f"twitter:label{n}", "").lower()
        if label in {"price", "preis", "prix", "prijs", "precio", "prezzo", "cena", "pris"}:
            name = f"twitter:data{n}"
            told = read_price(metas.get(name, "")[:100], currency=currency)
            if told and told.amount is not None and told.low is None:
                return name, Value(told.amount, told.currency or currency)
    return "", Value(None)


def net_price(doc: Doc) -> Decimal | None:
    """The price without tax that some heads state beside the one with it."""
    metas = dict(doc.metas)
    return next((v.amount for n in _NET if n in metas and (v := stated(metas[n])).amount), None)
