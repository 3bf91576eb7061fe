"""Of all products that one source describes, the one the page is about."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from urllib.parse import urljoin, urlsplit

from scrapers.model import Ids
from scrapers.readers.claims import Product
from scrapers.reconcile.names import alike, naming, words
from scrapers.reconcile.told import Told, bare_product, filled, of_product, together


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
        told = of_product(max(match, key=_richness) if len(match) > 1 else match[0], url, choice)
        return (told if len(goods) == 1 else replace(told, ids=_completed(told, goods))), 1
    if len({p.title for p in match}) == 1 or all(alike(p.title, heading) for p in match):
        return together(match, url, choice), 1
    return together(match, url, choice), len(match)


def _same_page(product: Product, url: str) -> bool:
    if not product.url:
        return False
    try:
        one, other = urlsplit(urljoin(url, product.url)), urlsplit(url)
    except ValueError:
        return False
    return one.path.rstrip("/") == other.path.rstrip("/") and one.path.strip("/") != ""


def _named(goods: list[Product], heading: str | None) -> list[Product]:
    """The things that are called as the page is, word for word if any are, else nearly so."""
    near = [p for p in goods if alike(p.title, heading)]
    name = words(heading)
    return [p for p in near if words(p.title) == name] or near


def _all_others(goods: list[Product], heading: str | None) -> bool:
    """Several things, none with a word of the heading: what the page shows beside its own."""
    titles = {p.title for p in goods}
    named = naming(heading)
    if not named or len(titles) < 2 or None in titles:
        return False
    return all(other and named.isdisjoint(other) for other in map(naming, titles))


def _elsewhere(goods: list[Product], url: str) -> bool:
    """Several things, each with a page of its own that is not this one."""
    paths = {_path(p.url, url) for p in goods}
    return len(paths) == len(goods) and paths.isdisjoint({None, "", _path(url, url)})


def _path(address: str | None, url: str) -> str | None:
    try:
        return urlsplit(urljoin(url, address)).path.rstrip("/") if address else None
    except ValueError:
        return None


def _listed(products: list[Product], priced: list[Product]) -> Told | None:
    """A page that only lists things: its own identity, or what all of the listed share."""
    bare = next((p for p in products if p.main and p.goods and p not in priced), None)
    if bare is not None or not priced:
        return bare_product(bare) if bare is not None else None
    prices = {v for p in priced for v in _prices(p)}
    offer = next(iter((*priced[0].offers, priced[0].aggregate)))
    return Told(
        priced[0].source, priced[0].where, own=False, doubt="the page only lists it among others",
        currency=offer.currency if offer else None,
        price=prices.pop() if len(prices) == 1 else None,
    )  # fmt: skip


def _completed(told: Told, goods: list[Product]) -> Ids:
    """Numbers that another block of the same source gives for the same title."""
    ids = told.ids
    for other in goods:
        if alike(other.title, told.title):
            ids = filled(ids, other.ids)
    return ids


def _richness(product: Product) -> int:
    return sum(o.price is not None for o in product.offers) * 2 + bool(product.ids.sku)


def _prices(product: Product) -> tuple[Decimal | None, ...]:
    ends = (product.aggregate.low, product.aggregate.high) if product.aggregate else ()
    return tuple({o.price for o in product.offers}) + ends
