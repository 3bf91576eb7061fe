"""Offers of several sellers for one and the same thing: a page sells at the price of one."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import replace
from decimal import Decimal
from urllib.parse import urlsplit

from scrapers.readers.claims import Offer
from scrapers.reconcile.told import Told

_BARE = re.compile(r"[\W_]+")
LEAST = 4  # letters of a name that can be looked for in an address


def of_seller(told: Told, shown: Decimal | None, url: str, shops: Collection[str]) -> Told:
    """What the source says of the offer whose price the page shows, else of the shop's own.

    The offers of others are no choices of the thing: what they ask is neither low nor high.
    """
    if not _of_several(told):
        return told
    same = [o for o in told.offers if shown is not None and o.price == shown]
    own = [o for o in told.offers if _is_shop(o.seller or "", url, shops)]
    one = next((o for o in own if o in same), None) or next(iter((*same, *own)), None)
    if one is None or one.price is None:
        return told
    return replace(
        told, price=one.price, first=None, low=None, high=None, list_price=one.list_price,
        availability=one.availability, where=one.where, text=one.text, doubt=one.doubt,
        tax=one.tax, shipping=one.shipping, unit_price=one.unit_price, choices=(), offers=(),
        until=one.until,
    )  # fmt: skip


def _of_several(told: Told) -> bool:
    """Whether nothing but their sellers tells the offers apart."""
    sellers = {o.seller for o in told.offers}
    return len(sellers) > 1 and None not in sellers and len({*map(_thing, told.offers)}) == 1


def _thing(offer: Offer) -> tuple[str | None, ...]:
    return offer.name, offer.sku, offer.gtin, offer.country


def _is_shop(seller: str, url: str, shops: Collection[str]) -> bool:
    """Whether a seller is called as the shop is, by its own word or in its address."""
    name = _bare(seller)
    try:
        host = _bare(urlsplit(url).hostname or "")
    except ValueError:
        host = ""
    return len(name) >= LEAST and (name in host or name in map(_bare, shops))


def _bare(text: str) -> str:
    return _BARE.sub("", text.casefold())
