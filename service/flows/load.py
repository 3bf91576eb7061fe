"""Load what pure rules look at: one place that turns a transaction into a PriceView."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from scrapers import host_key
from service.builds.breaks import page_breaks
from service.builds.view import PriceView, Rule, Supplies
from service.errors import InputError, NotFoundError
from service.flows.books import own
from service.flows.ports import Deps, Unit
from service.model.catalogue import Listing, Supplier
from service.model.orders import Purchase
from service.model.prices import PriceNow


def price_view(
    unit: Unit,
    deps: Deps,
    at: datetime,
    listings: Collection[Listing] | None = None,
    rule: Rule = "cheapest per unit",
) -> PriceView:
    """Everything that costing needs, as it stood at `at`. `listings`: only those."""
    chosen = list(listings) if listings is not None else unit.catalogue.listings()
    ids = None if listings is None else [listing.id for listing in chosen]
    parts, builds = unit.catalogue.parts(), unit.catalogue.builds()
    mine, purchases = own(unit, deps, at, parts), unit.purchases.all()
    prices = unit.log.as_of(at, ids)
    codes = {deps.currency, *(build.currency for build in builds.values())}
    return PriceView(
        at=at,
        parts=parts,
        suppliers=unit.catalogue.suppliers(),
        listings=_with_page_breaks(chosen, prices, unit.polls.tiers(at)),
        prices=prices,
        rates=unit.rates.rates(at.date()),
        on_hand=mine.on_hand,
        purchases=purchases,
        destination=deps.destination,
        builds=builds,
        rule=rule,
        markup=Decimal(deps.extra.get("markup", 0)),
        account=deps.currency,
        supplies=_supplies(deps),
        dismissed=mine.dismissed,
        companion_rules=mine.companion_rules,
        holdings=mine.holdings,
        notes=mine.notes,
        rates_on={day: unit.rates.rates(day) for day in _foreign_days(purchases, codes)},
    )


def _with_page_breaks(
    listings: Sequence[Listing], prices: Mapping[int, PriceNow], tiers: Mapping[int, str]
) -> list[Listing]:
    """Prices for several that the page itself states, where the catalogue states none."""
    found = []
    for entry in listings:
        text, now = tiers.get(entry.id), prices.get(entry.id)
        breaks = page_breaks(text, now.offer.price) if text and now and not entry.breaks else ()
        found.append(replace(entry, breaks=breaks) if breaks else entry)
    return found


def _supplies(deps: Deps) -> Supplies | None:
    given = getattr(deps.extra.get("settings"), "supplies", None)
    if given is None:
        return None
    if given.flat is None:
        return Supplies(fraction=given.percent)
    return Supplies(flat=given.flat.amount, currency=given.flat.currency)


def _foreign_days(purchases: Sequence[Purchase], codes: Collection[str]) -> set[date]:
    """Days whose rates purchases in another currency than some build's are counted at."""
    return {
        bought.on
        for bought in purchases
        if bought.on and len({bought.total.currency, bought.paid.currency, *codes}) > 1
    }


def listing_named(unit: Unit, name: str) -> Listing | None:
    """A listing by its key, its URL, or `supplier/part` where that is unique."""
    if found := unit.catalogue.listing(name):
        return found
    everything = unit.catalogue.listings()
    by_url = [entry for entry in everything if entry.url == name]
    supplier, _, part = name.partition("/")
    by_pair = [e for e in everything if e.supplier == supplier and e.holds(part)]
    for matches in (by_url, by_pair):
        if len(matches) > 1:
            keys = ", ".join(entry.key for entry in matches)
            raise InputError(f'"{name}" names more than one listing: say which of {keys}')
        if matches:
            return matches[0]
    return None


def need_listing(unit: Unit, name: str) -> Listing:
    """The same; NotFoundError where there is none."""
    found = listing_named(unit, name)
    if found is None:
        raise NotFoundError(
            f'no listing "{name}": give its URL or supplier/part; "ebbmark dump" shows them all'
        )
    return found


def supplier_at(unit: Unit, url: str) -> Supplier | None:
    """The supplier whose site or listings are on the URL's host, where it is one alone."""
    host = host_key(url)
    for supplier in unit.catalogue.suppliers().values():
        if supplier.home and host_key(supplier.home) == host:
            return supplier
    known = {entry.supplier for entry in unit.catalogue.listings() if _is_at(entry, host)}
    return unit.catalogue.suppliers()[known.pop()] if len(known) == 1 else None


def _is_at(listing: Listing, host: str) -> bool:
    return listing.url is not None and host_key(listing.url) == host


def moment(text: str | None, deps: Deps) -> datetime:
    """`--at`: a time with zone, or a date, which means its last instant in the settings' zone."""
    if text is None:
        return deps.clock()
    return last_instant(text, deps.time_zone)


def last_instant(text: str, time_zone: str) -> datetime:
    """ISO 8601 date or time -> aware time. InputError says what to write."""
    zone = ZoneInfo(time_zone)
    try:
        if len(text) <= len("2026-11-24"):
            day = date.fromisoformat(text)
            return datetime(day.year, day.month, day.day, 23, 59, 59, 999999, tzinfo=zone)
        parsed = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f'"{text}" is not a day or time: write 2026-11-24 or 2026-11-24T18:00Z'
        ) from None
    return parsed if parsed.tzinfo else parsed.replace(tzinfo=zone)


def first_instant(text: str, time_zone: str) -> datetime:
    """The same, but a date means its beginning."""
    end = last_instant(text, time_zone)
    return end.replace(hour=0, minute=0, second=0, microsecond=0) if len(text) <= 10 else end
