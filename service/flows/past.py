"""The past of a part or listing: spells, statistics, discount, calendar and advice.

The prices of a part are per unit and in one currency. All of them are converted
at the rates of the time asked for, so that the history shows what sellers did
and not what exchange rates did; `reprice --at` uses the rates of each day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from service.builds.amounts import unit_size
from service.builds.cents import to_decimal
from service.builds.offers import Market, Quote
from service.builds.view import PriceView
from service.errors import InputError, NotFoundError
from service.flows.load import price_view
from service.flows.names import listing_named, moment, need_listing
from service.flows.ports import Deps, Gap, Unit
from service.model.catalogue import Listing, Part
from service.model.prices import Spell, fresh_for
from service.prices.calendar import ShopSale, shop_sales
from service.prices.history import Question, Subject, history_object
from service.prices.lowest import lowest_over
from service.prices.track import make_track

DIGITS = 6
SHOP_SALES = timedelta(days=2 * 365)


def history(
    deps: Deps, name: str, days: int | None = None, at: str | datetime | None = None
) -> dict[str, Any]:
    """The JSON object of `ebbmark history` for a part or a listing. NotFoundError."""
    when = at if isinstance(at, datetime) else moment(at, deps)
    with deps.store.read() as unit:
        part = None if "://" in name else unit.catalogue.parts().get(name)
        if part is not None:
            subject, listings = _of_part(unit, deps, part, when)
        else:
            subject, listings = _of_listing(unit, name, when)
        return history_object(subject, _question(unit, deps, subject, listings, days=days, at=when))


def spells_of(deps: Deps, names: Sequence[str]) -> tuple[list[Spell], dict[int, str]]:
    """Spells of the named listings or parts (of all without names), and the listings' keys."""
    with deps.store.read() as unit:
        chosen = _named(unit, names) if names else unit.catalogue.listings()
        keys = {entry.id: entry.key for entry in chosen}
        return unit.log.spells(list(keys)), keys


def _named(unit: Unit, names: Sequence[str]) -> list[Listing]:
    found: list[Listing] = []
    for name in names:
        found += unit.catalogue.listings_of(name) or [need_listing(unit, name)]
    return found


def _of_listing(unit: Unit, name: str, at: datetime) -> tuple[Subject, list[Listing]]:
    listing = listing_named(unit, name)
    if listing is None:
        raise NotFoundError(f'no part or listing "{name}"; "ebbmark dump" shows them all')
    spells, gaps = _past(unit, [listing.id], at)
    return (
        Subject(
            listing.key,
            {listing.id: spells.get(listing.id, [])},
            names={listing.id: listing.key},
            gaps={listing.id: gaps.get(listing.id, [])},
            countries=_countries(unit, [listing]),
            shop_sales=_shop_sales(unit, [listing], at),
        ),
        [listing],
    )


def _of_part(unit: Unit, deps: Deps, part: Part, at: datetime) -> tuple[Subject, list[Listing]]:
    listings = unit.catalogue.listings_of(part.key)
    if not listings:
        raise InputError(f"part {part.key} is sold nowhere: add a listing or a price by hand")
    spells, gaps = _past(unit, [entry.id for entry in listings], at)
    view = price_view(unit, deps, at, listings)
    per_unit = _per_unit(view, part, spells, _currency(spells, deps))
    fresh = {entry.id: fresh_for(entry.every) for entry in listings}
    lowest = lowest_over(per_unit, gaps, at=at, fresh=fresh)
    return (
        Subject(
            part.key,
            spells,
            names={entry.id: entry.key for entry in listings},
            gaps=gaps,
            lowest=lowest,
            countries=_countries(unit, listings),
            shop_sales=_shop_sales(unit, listings, at),
        ),
        listings,
    )


def _past(
    unit: Unit, ids: Collection[int], at: datetime, since: datetime | None = None
) -> tuple[dict[int, list[Spell]], dict[int, list[Gap]]]:
    spells: dict[int, list[Spell]] = defaultdict(list)
    for spell in unit.log.spells(ids, since):
        if spell.last_seen <= at:
            spells[spell.listing].append(spell)
        elif spell.first_seen <= at:
            spells[spell.listing].append(replace(spell, last_seen=at))
    gaps: dict[int, list[Gap]] = defaultdict(list)
    for gap in unit.log.gaps(ids, since):
        gaps[gap.listing].append(gap)
    return spells, gaps


def _currency(spells: Mapping[int, Sequence[Spell]], deps: Deps) -> str:
    seen = {run[-1].offer.currency for run in spells.values() if run}
    return seen.pop() if len(seen) == 1 else deps.currency


def _per_unit(
    view: PriceView, part: Part, spells: Mapping[int, Sequence[Spell]], currency: str
) -> dict[int, list[Spell]]:
    unit = unit_size(part)
    quotes = {quote.listing.id: quote for quote in Market(view, currency).quotes(part)}
    return {
        listing: [_scaled(spell, quotes[listing], unit, currency) for spell in run]
        for listing, run in spells.items()
        if listing in quotes
    }


def _scaled(spell: Spell, quote: Quote, unit: Fraction, currency: str) -> Spell:
    ratio = quote.per_unit(Fraction(0)) * unit / Fraction(quote.offer.price)

    def each(price: Decimal) -> Decimal:
        return to_decimal(Fraction(price) * ratio, DIGITS)

    listed = spell.offer.list_price
    offer = replace(
        spell.offer,
        price=each(spell.offer.price),
        list_price=None if listed is None else each(listed),
        currency=currency,
    )
    return replace(spell, offer=offer)


def _countries(unit: Unit, listings: Iterable[Listing]) -> dict[int, str | None]:
    suppliers = unit.catalogue.suppliers()
    return {entry.id: suppliers[entry.supplier].country for entry in listings}


def _shop_sales(
    unit: Unit, listings: Iterable[Listing], at: datetime
) -> dict[str, Sequence[ShopSale]]:
    """Of the last years only, and of no listing more than its prices: a shop may sell thousands."""
    found: dict[str, Sequence[ShopSale]] = {}
    for supplier in {entry.supplier for entry in listings}:
        ids = unit.catalogue.pages_of(supplier)
        spells, gaps = _past(unit, ids, at, since=at - SHOP_SALES)
        tracks = {i: make_track(spells[i], gaps[i], at=at) for i in ids}
        found[supplier] = shop_sales(tracks)
    return found


def _question(
    unit: Unit,
    deps: Deps,
    subject: Subject,
    listings: Sequence[Listing],
    *,
    days: int | None,
    at: datetime,
) -> Question:
    zone = ZoneInfo(deps.time_zone)
    return Question(
        at=at,
        need_by=_need_by(unit, listings, zone),
        target=_target(unit, subject.key),
        zone=zone,
        since=at - timedelta(days=days) if days else None,
        fresh=max(fresh_for(entry.every) for entry in listings),
    )


def _need_by(unit: Unit, listings: Sequence[Listing], zone: ZoneInfo) -> datetime | None:
    builds = unit.catalogue.builds_using([entry.id for entry in listings])
    days = [build.need_by for build in builds if build.need_by]
    return datetime.combine(min(days), time.max, zone) if days else None


def _target(unit: Unit, key: str) -> Decimal | None:
    wanted = [
        target.at_or_below.amount
        for target in unit.catalogue.targets()
        if target.subject == key and target.at_or_below
    ]
    return max(wanted, default=None)
