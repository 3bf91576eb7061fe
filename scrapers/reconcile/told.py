"""One source's products into what that source says of the page's own product."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from decimal import Decimal
from urllib.parse import parse_qs, urljoin, urlsplit

from scrapers.model import Availability, Choice, Ids, Multibuy, Source, Tax, UnitPrice
from scrapers.readers.claims import Offer, Product

_WORD = re.compile(r"\w+")


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

    @property
    def priced(self) -> bool:
        return self.own and self.stated

    @property
    def stated(self) -> bool:
        return self.price is not None or self.low is not None or self.high is not None


def alike(one: str | None, other: str | None) -> bool:
    """Whether two titles name the same thing: most words of the shorter stand in the longer."""
    if not one or not other:
        return False
    a, b = set(_WORD.findall(one.casefold())), set(_WORD.findall(other.casefold()))
    small = min(len(a), len(b))
    return small > 0 and len(a & b) / small >= 0.75


def akin(one: str, other: str) -> bool:
    """Whether two titles share a word; without letters on one side nothing can be said."""
    a, b = set(_WORD.findall(one.casefold())), set(_WORD.findall(other.casefold()))
    return not a or not b or bool(a & b)


def filled(ids: Ids, more: Ids) -> Ids:
    """Identifiers completed by those of another source."""
    return Ids(
        ids.gtin or more.gtin, ids.mpn or more.mpn, ids.sku or more.sku, ids.brand or more.brand
    )


def tell(
    products: list[Product], heading: str | None, url: str, choice: str | None
) -> tuple[Told | None, int]:
    """What the source says, and how many things of their own it describes."""
    priced = [p for p in products if p.offers or p.aggregate]
    own = [p for p in priced if p.main] or (priced if len(priced) == 1 else [])
    if not own:
        return _listed(products, priced), len({p.title for p in priced})
    goods = [p for p in own if p.goods] or own
    match = [p for p in goods if _same_page(p, url)] if len(goods) > 1 else goods
    if len(match) != 1:
        match = _named(goods, heading) or match or goods
    if len(match) > 1 and (_all_others(match, heading) or _elsewhere(match, url)):
        return _listed(products, priced), len({p.title for p in priced})
    if len(match) == 1 or len({_prices(p) for p in match}) == 1:
        told = _told(max(match, key=_richness) if len(match) > 1 else match[0], url, choice)
        return (told if len(goods) == 1 else replace(told, ids=_completed(told, goods))), 1
    if len({p.title for p in match}) == 1 or all(alike(p.title, heading) for p in match):
        return _together(match, url, choice), 1
    return _together(match, url, choice), len(match)


def _named(goods: list[Product], heading: str | None) -> list[Product]:
    """The things that are called as the page is, word for word if any are, else nearly so."""
    near = [p for p in goods if alike(p.title, heading)]
    name = _words(heading)
    return [p for p in near if _words(p.title) == name] or near


def _words(title: str | None) -> list[str]:
    return _WORD.findall((title or "").casefold())


def _all_others(goods: list[Product], heading: str | None) -> bool:
    """Several things, none with a word of the heading: what the page shows beside its own."""
    titles = {p.title for p in goods}
    named = _naming(heading)
    if not named or len(titles) < 2 or None in titles:
        return False
    return all(words and named.isdisjoint(words) for words in map(_naming, titles))


def _elsewhere(goods: list[Product], url: str) -> bool:
    """Several things, each with a page of its own that is not this one."""
    paths = {_path(p.url, url) for p in goods}
    return len(paths) == len(goods) and paths.isdisjoint({None, "", _path(url, url)})


def _path(address: str | None, url: str) -> str | None:
    try:
        return urlsplit(urljoin(url, address)).path.rstrip("/") if address else None
    except ValueError:
        return None


def _naming(title: str | None) -> set[str]:
    return set(_NAMING.findall((title or "").casefold()))


_NAMING = re.compile(r"[^\W\d_]{3,}")  # no measure: "3 mm" and "6 mm" make no kin


def _completed(told: Told, goods: list[Product]) -> Ids:
    """Numbers that another block of the same source gives for the same title."""
    ids = told.ids
    for other in goods:
        if alike(other.title, told.title):
            ids = filled(ids, other.ids)
    return ids


def _listed(products: list[Product], priced: list[Product]) -> Told | None:
    """A page that only lists things: its own identity, or what all of the listed share."""
    bare = next((p for p in products if p.main and p.goods and p not in priced), None)
    if bare is not None or not priced:
        return _bare(bare) if bare is not None else None
    prices = {v for p in priced for v in _prices(p)}
    offer = next(iter((*priced[0].offers, priced[0].aggregate)))
    return Told(
        priced[0].source, priced[0].where, own=False, doubt="the page only lists it among others",
        currency=offer.currency if offer else None,
        price=prices.pop() if len(prices) == 1 else None,
    )  # fmt: skip


def _bare(product: Product) -> Told:
    return Told(
        product.source, product.where, title=product.title, ids=product.ids,
        description=product.description,
    )  # fmt: skip


def _richness(product: Product) -> int:
    return sum(o.price is not None for o in product.offers) * 2 + bool(product.ids.sku)


def _prices(product: Product) -> tuple[Decimal | None, ...]:
    ends = (product.aggregate.low, product.aggregate.high) if product.aggregate else ()
    return tuple({o.price for o in product.offers}) + ends


def _same_page(product: Product, url: str) -> bool:
    if not product.url:
        return False
    try:
        one, other = urlsplit(urljoin(url, product.url)), urlsplit(url)
    except ValueError:
        return False
    return one.path.rstrip("/") == other.path.rstrip("/") and one.path.strip("/") != ""


def _together(products: list[Product], url: str, choice: str | None) -> Told:
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
    return replace(_told(made, url, choice), first=None)


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


def _told(product: Product, url: str, choice: str | None) -> Told:
    offers = _usable(product)
    prices = [o.price for o in offers if o.price is not None]
    chosen = _chosen(offers, url, choice)
    head = chosen or (offers[0] if offers else product.aggregate)
    if head is None:
        return _bare(product)
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
    )


def _inside(aggregate: Offer, prices: list[Decimal]) -> bool:
    """Whether a range states a price of its own that lies in it and among its offers."""
    price = aggregate.price
    ends = [v for v in (aggregate.low, aggregate.high, *prices) if v is not None]
    return price is not None and (not ends or min(ends) <= price <= max(ends))


def _ids(ids: Ids, head: Offer, *, alone: bool, one_price: bool) -> Ids:
    """The product's numbers; what is missing from its one offer.

    Of several offers at one price the first one's number; at several prices it is that of
    another thing as likely as not.
    """
    if not alone:
        return replace(ids, sku=ids.sku or (head.sku if one_price else None))
    return Ids(ids.gtin or head.gtin, ids.mpn or head.mpn, ids.sku or head.sku, ids.brand)


def _ends(product: Product, prices: list[Decimal]) -> tuple[Decimal | None, Decimal | None]:
    if len(set(prices)) > 1:
        return min(prices), max(prices)
    aggregate = product.aggregate
    return (aggregate.low, aggregate.high) if aggregate and not prices else (None, None)


def _first(product: Product, prices: list[Decimal]) -> Decimal | None:
    """A plain list of offers shows its first one first; a group or a range shows none."""
    plain = product.aggregate is None and all(o.text for o in product.offers)
    return prices[0] if plain and len(prices) > 1 and not _grouped(product) else None


def _grouped(product: Product) -> bool:
    return any(".hasVariant[" in o.where for o in product.offers)


_BUYABLE = (
    Availability.IN_STOCK,
    Availability.LOW_STOCK,
    Availability.PREORDER,
    Availability.BACKORDER,
)


def _stock(offers: list[Offer], chosen: Offer | None, aggregate: Offer | None) -> Availability:
    if chosen is not None:
        return chosen.availability
    said = [o.availability for o in offers if o.availability is not Availability.UNKNOWN]
    if not said:
        return aggregate.availability if aggregate else Availability.UNKNOWN
    if len({o.price for o in offers}) > 1 and offers[0].availability is not Availability.UNKNOWN:
        return offers[0].availability
    return next((a for a in _BUYABLE if a in said), said[0])
