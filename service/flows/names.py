"""What people call things: listings, suppliers by address, days and times."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from scrapers import host_key
from service.errors import InputError, NotFoundError
from service.flows.ports import Deps, Unit
from service.model.builds import Build
from service.model.catalogue import Listing, Supplier


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


def need_build(unit: Unit, key: str) -> Build:
    """A saved build; NotFoundError names those that there are."""
    found = unit.catalogue.build(key)
    if found is None:
        known = ", ".join(unit.catalogue.builds()) or "none yet; load a catalogue file"
        raise NotFoundError(f'no build "{key}"; there are: {known}')
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
