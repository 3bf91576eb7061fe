"""One source's product into what that source says of the page's own product."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from urllib.parse import parse_qs, urlsplit

from scrapers.model import Availability, Choice, Ids, Multibuy, Source, Tax, UnitPrice
from scrapers.readers.claims import Offer, Product

_BUYABLE = (
    Availability.IN_STOCK,
    Availability.LOW_STOCK,
    Availability.PREORDER,
    Availability.BACKORDER,
)


@dataclass(frozen=True, slots=True)
class Told:
    """What one source says. `first`: the first of several prices, where it lists several."""

    source: Source
    where: str
    text: str = ""
    title: str | None = None
    ids: Ids = field(default_factory=Ids)
    price: Decimal | None = None
    first: Decimal | None = None
    currency: str | None = None
    list_price: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    availability: Availability = Availability.UNKNOWN
    tax: Tax = Tax.UNKNOWN
    member_price: Decimal | None = None
    unit_price: UnitPrice | None = None
    multibuy: tuple[Multibuy, ...] = ()
    shipping: Decimal | None = None
    choices: tuple[Choice, ...] = ()
    country: str | None = None
    zero: bool = False
    doubt: str | None = None
    description: str | None = None
    own: bool = True
    goods: bool = True
    addressed: bool = False  # the page's address names one of several offers
    offers: tuple[Offer, ...] = ()
    until: date | None = None  # the last day on which the markup's price holds

    @property
    def priced(self) -> bool:
        return self.own and self.stated

    @property
    def stated(self) -> bool:
        return self.price is not None or self.low is not None or self.high is not None


def of_product(product: Product, url: str, choice: str | None) -> Told:
    """What the source says of one product: its chosen offer, its only price, or a range."""
    offers = _usable(product)
    prices = [o.price for o in offers if o.price is not None]
    chosen = _chosen(offers, url, choice)
    head = chosen or (offers[0] if offers else product.aggregate)
    if head is None:
        return bare_product(product)
    low, high = _ends(product, prices)
    price = head.price if chosen or len(set(prices)) == 1 else None
    if price is not None and price == low == high:
        low = high = None
    aggregate = product.aggregate
    text = head.text
    if price is None and aggregate is not None and _inside(aggregate, prices):
        price, text = aggregate.price, aggregate.text
    return Told(
        source=product.source,
        where=head.where,
        text=text,
        title=product.title,
        ids=_ids(
            product.ids
            if chosen is None
            else replace(product.ids, sku=chosen.sku or product.ids.sku),
            head,
            alone=chosen is not None or len(offers) == 1,
            one_price=len(set(prices)) < 2,
        ),
        price=price,
        first=_first(product, prices) if price is None else None,
        currency=head.currency or (aggregate.currency if aggregate else None),
        list_price=head.list_price,
        low=low,
        high=high,
        availability=_stock(offers, chosen, aggregate),
        tax=head.tax,
        member_price=next((o.member_price for o in product.offers if o.member_price), None),
        unit_price=head.unit_price,
        multibuy=tuple(m for o in product.offers for m in o.multibuy),
        shipping=head.shipping,
        choices=product.choices,
        country=head.country,
        zero=bool(offers) and all(o.zero for o in offers),
        doubt=head.doubt if price is None or head.price is None or head.doubt else None,
        description=product.description,
        goods=product.goods,
        addressed=chosen is not None and not choice and len(offers) > 1,
        offers=tuple(offers) if len(offers) > 1 else (),
        until=head.until,
    )


def bare_product(product: Product) -> Told:
    """A product without offers: its name and numbers."""
    return Told(
        product.source, product.where, title=product.title, ids=product.ids,
        description=product.description,
    )  # fmt: skip


def together(products: list[Product], url: str, choice: str | None) -> Told:
    """Several things of the same name: their offers are choices."""
    head = products[0]
    offers = tuple(o for p in products for o in p.offers)
    choices = tuple(
        Choice(o.name or o.sku or "", o.sku, o.price, o.currency, o.availability, o.country)
        for o in offers
        if o.price is not None
    )
    made = Product(head.source, head.where, head.title, head.ids, offers=offers,
                   aggregate=head.aggregate, choices=choices)  # fmt: skip
    return replace(of_product(made, url, choice), first=None)


def _usable(product: Product) -> list[Offer]:
    """The offers that count: new before used, priced before empty, trusted before doubtful."""
    offers = list(product.offers)
    offers = [o for o in offers if not o.used] or offers
    offers = [o for o in offers if o.price is not None] or offers
    return [o for o in offers if o.doubt is None] or offers


def _chosen(offers: list[Offer], url: str, choice: str | None) -> Offer | None:
    """The offer that the user's choice or the page's own address names."""
    if choice:
        wanted = choice.strip().casefold()
        for offer in offers:
            if wanted in {(offer.sku or "").casefold(), (offer.name or "").casefold()}:
                return offer
    query = parse_qs(urlsplit(url).query) if "?" in url else {}
    wanted = (query.get("variant") or query.get("sku") or [""])[0]
    if wanted:
        return next((o for o in offers if wanted in (o.url or "") or wanted == o.sku), None)
    return None


def _ids(ids: Ids, head: Offer, *, alone: bool, one_price: bool) -> Ids:
    """The product's numbers; what is missing from its one offer.

    Of several offers at one price the first one's number; at several prices it is that of
    another thing as likely as not.
    """
    if not alone:
        return replace(ids, sku=ids.sku or (head.sku if one_price else None))
    return Ids(ids.gtin or head.gtin, ids.mpn or head.mpn, ids.sku or head.sku, ids.brand)


def filled(ids: Ids, more: Ids) -> Ids:
    """Identifiers completed by those of another source."""
    return Ids(
        ids.gtin or more.gtin, ids.mpn or more.mpn, ids.sku or more.sku, ids.brand or more.brand
    )


def _ends(product: Product, prices: list[Decimal]) -> tuple[Decimal | None, Decimal | None]:
    if len(set(prices)) > 1:
        return min(prices), max(prices)
    aggregate = product.aggregate
    return (aggregate.low, aggregate.high) if aggregate and not prices else (None, None)


def _inside(aggregate: Offer, prices: list[Decimal]) -> bool:
    """Whether a range states a price of its own that lies in it and among its offers."""
    price = aggregate.price
    ends = [v for v in (aggregate.low, aggregate.high, *prices) if v is not None]
    return price is not None and (not ends or min(ends) <= price <= max(ends))


def _first(product: Product, prices: list[Decimal]) -> Decimal | None:
    """A plain list of offers shows its first one first; a group or a range shows none."""
    plain = product.aggregate is None and all(o.text for o in product.offers)
    return prices[0] if plain and len(prices) > 1 and not _grouped(product) else None


def _grouped(product: Product) -> bool:
    return any(".hasVariant[" in o.where for o in product.offers)


def _stock(offers: list[Offer], chosen: Offer | None, aggregate: Offer | None) -> Availability:
    if chosen is not None:
        return chosen.availability
    said = [o.availability for o in offers if o.availability is not Availability.UNKNOWN]
    if not said:
        return aggregate.availability if aggregate else Availability.UNKNOWN
    if len({o.price for o in offers}) > 1 and offers[0].availability is not Availability.UNKNOWN:
        return offers[0].availability
    return next((a for a in _BUYABLE if a in said), said[0])
