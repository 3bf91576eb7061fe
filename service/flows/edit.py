"""Commands: what a user changes. Each is one transaction that happens whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from urllib.parse import urlsplit

from scrapers import (
    Amount,
    GuardError,
    Policy,
    UnitError,
    check_url,
    dimension,
    format_amount,
    host_key,
    parse_amount,
)
from service.errors import InputError, NotFoundError
from service.flows.names import first_instant, last_instant, need_listing, supplier_at
from service.flows.ports import Deps, Unit
from service.flows.react import react
from service.model.book import Book
from service.model.catalogue import Listing, Part, Supplier, Supply, listing_key
from service.model.money import Money, money_text
from service.model.prices import Observation, Offer

MOST_SHOWN = 50  # problems of one file


def known_book(deps: Deps) -> Book:
    """All that is in the store now, for checking references."""
    with deps.store.read() as unit:
        return unit.catalogue.book()


def load_book(deps: Deps, book: Book) -> int:
    """Upsert a checked book; answers how many entries changed."""
    with deps.store.write() as unit:
        return unit.catalogue.save(book, now=deps.clock())


def need_part(unit: Unit, key: str) -> Part:
    """NotFoundError names the nearest keys."""
    parts = unit.catalogue.parts()
    if key in parts:
        return parts[key]
    near = _nearest(key, parts)
    raise NotFoundError(f'no part "{key}"{near}')


def need_supplier(unit: Unit, key: str) -> Supplier:
    """NotFoundError names the nearest keys."""
    suppliers = unit.catalogue.suppliers()
    if key in suppliers:
        return suppliers[key]
    raise NotFoundError(f'no supplier "{key}"{_nearest(key, suppliers)}')


def _nearest(key: str, known: Sequence[str] | dict[str, Supplier] | dict[str, Part]) -> str:
    from difflib import get_close_matches  # noqa: PLC0415  only on the way to an error

    near = get_close_matches(key, list(known), n=3, cutoff=0.5)
    return f": did you mean {', '.join(near)}?" if near else ": add it to a catalogue file first"


def sold_as_of(part: Part, text: str | None) -> Amount:
    """What one unit of sale holds; one unit of the part where nothing is said."""
    if text is None:
        return Amount(Decimal(1), part.unit)
    try:
        amount = parse_amount(text)
    except UnitError as error:
        raise InputError(str(error)) from None
    from service.builds.amounts import base_amount  # noqa: PLC0415  start-up time

    try:
        base_amount(amount, part)
    except UnitError as error:
        raise InputError(
            f'sold as "{text}" does not fit part {part.key}, counted in {part.unit}: {error}'
        ) from None
    return amount


def book_price(
    deps: Deps,
    part_key: str,
    money: Money,
    supplier: str,
    *,
    on: str | None = None,
    sold_as: str | None = None,
) -> Listing:
    """A price by hand: its listing is made at the first time and never polled."""
    if money.amount <= 0:
        raise InputError(f"{money} is not a price: it must be more than 0")
    with deps.store.write() as unit:
        part = need_part(unit, part_key)
        need_supplier(unit, supplier)
        listing = _hand_listing(unit, deps, part, supplier, sold_as)
        at = _booked_at(deps, on)
        offer = Offer(money.amount, money.currency)
        _record(unit, deps, Observation(listing.id, at, offer, origin="hand"))
        return listing


def _hand_listing(
    unit: Unit, deps: Deps, part: Part, supplier: str, sold_as: str | None
) -> Listing:
    key = listing_key(supplier, part.key, None, None)
    found = unit.catalogue.listing(key)
    if found is not None and sold_as is None:
        return found
    supply = Supply(part.key, sold_as_of(part, sold_as))
    wanted = replace(found, supplies=(supply,)) if found else Listing(key, supplier, (supply,))
    unit.catalogue.save(Book(listings=(wanted,)), now=deps.clock())
    saved = unit.catalogue.listing(key)
    if saved is None:
        raise NotFoundError(f"listing {key} was not kept")
    return saved


def _booked_at(deps: Deps, on: str | None) -> datetime:
    now = deps.clock()
    if on is None:
        return now
    at = last_instant(on, deps.time_zone)
    if at - now > timedelta(days=1):
        raise InputError(f"{on} lies in the future")
    return min(at, now)


def _record(unit: Unit, deps: Deps, observation: Observation) -> None:
    spells = unit.log.spells([observation.listing])
    if spells and observation.at < spells[-1].last_seen:
        if unit.log.insert_past([observation]) == 0:
            raise InputError("another price was seen at that time already; nothing was changed")
        return
    unit.log.record([observation])
    react(unit, deps, {observation.listing}, at=observation.at)


def add_listing(
    deps: Deps,
    url: str,
    part_key: str,
    *,
    sold_as: str | None,
    every: timedelta | None,
    new: Part | None = None,
) -> Listing:
    """A product page as a listing of a part; its supplier is known by its host or made new.

    `new`: the part, where it is made with it; it is not if the listing cannot be.
    """
    url = good_url(deps, url)
    with deps.store.write() as unit:
        if new is not None:
            _make_part(unit, deps, new)
        part = need_part(unit, part_key)
        supplier = supplier_at(unit, url) or _new_supplier(unit, deps, url)
        key = listing_key(supplier.key, part.key, url, None)
        if found := unit.catalogue.listing(key):
            raise InputError(_taken(url, found))
        supply = Supply(part.key, sold_as_of(part, sold_as))
        listing = Listing(key, supplier.key, (supply,), url=url)
        if every:
            listing = replace(listing, every=every)
        unit.catalogue.save(Book(listings=(listing,)), now=deps.clock())
        return need_listing(unit, key)


def _make_part(unit: Unit, deps: Deps, part: Part) -> None:
    if part.key in unit.catalogue.parts():
        raise InputError(f"part {part.key} exists already")
    unit.catalogue.save(Book(parts=(part,)), now=deps.clock())


def _taken(url: str, found: Listing) -> str:
    parts = ", ".join(supply.part for supply in found.supplies)
    return (
        f"{url} is a listing of {parts} already; another choice on the page goes into the catalogue"
        f' file (choice = "..."), for another part first run: ebbmark remove "{found.key}"'
    )


def new_part(key: str, name: str, unit: str) -> Part:
    """A part with no more than a name; InputError says what a key and a unit look like."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]*", key):
        raise InputError(f'"{key}" is no key: small letters, digits and "-" only')
    try:
        dimension(unit)
    except UnitError as error:
        raise InputError(str(error)) from None
    return Part(key, name, unit)


def last_visit(deps: Deps, listing: Listing) -> dict[str, str | None]:
    """How the last visit of a listing ended, and its price now."""
    with deps.store.read() as unit:
        state = unit.polls.states([listing.id]).get(listing.id)
        now = unit.log.as_of(deps.clock(), [listing.id]).get(listing.id)
    return {
        "outcome": state.last_outcome if state else None,
        "reason": state.last_reason if state else None,
        "price": money_text(now.offer.price, now.offer.currency) if now else None,
        "currency": now.offer.currency if now else None,
        "sold_as": format_amount(listing.supplies[0].amount),
    }


def _new_supplier(unit: Unit, deps: Deps, url: str) -> Supplier:
    host = host_key(url)
    taken = unit.catalogue.suppliers()
    base = re.sub(r"[^a-z0-9]+", "-", host.partition(":")[0].rpartition(".")[0] or host).strip("-")
    key = next(k for k in (base, *(f"{base}-{n}" for n in range(2, 1000))) if k not in taken)
    parts = urlsplit(url)
    supplier = Supplier(key, host, home=f"{parts.scheme}://{parts.netloc}/")
    unit.catalogue.save(Book(suppliers=(supplier,)), now=deps.clock())
    return supplier


def remove_listing(deps: Deps, name: str) -> str:
    """Watch it no longer; its history stays."""
    with deps.store.write() as unit:
        listing = need_listing(unit, name)
        unit.catalogue.remove_listing(listing.key)
        return listing.key


def relocate(deps: Deps, name: str, url: str) -> Listing:
    """The listing has a new address; its history stays. InputError for an address that is taken."""
    url = good_url(deps, url)
    with deps.store.write() as unit:
        listing = need_listing(unit, name)
        return unit.catalogue.move_listing(listing.key, url, now=deps.clock())


def cut(
    deps: Deps, name: str, on: str, *, part: str | None = None, sold_as: str | None = None
) -> Listing:
    """From `on` (the day's beginning, or a time) the page sells something else."""
    with deps.store.write() as unit:
        old = need_listing(unit, name)
        goods = need_part(unit, part or old.supplies[0].part)
        kept = old.supplies if part is None and sold_as is None else None
        supplies = kept or (Supply(goods.key, sold_as_of(goods, sold_as)),)
        at = first_instant(on, deps.time_zone)
        new = replace(old, id=0, supplies=supplies, choice=old.choice)
        return unit.catalogue.split_listing(old.key, at, new, now=deps.clock())


def good_url(deps: Deps, url: str) -> str:
    """The URL in its normal form; InputError says why it cannot be visited."""
    policy = deps.extra.get("policy") or Policy()
    try:
        return check_url(url, replace(policy, allowed_only=False))
    except GuardError as error:
        raise InputError(f"{url}: {error.reason}") from None


def import_history(
    deps: Deps, rows: Sequence[tuple[str, Observation]], source: str = "history"
) -> int:
    """Past prices, `(listing name, observation)`; answers how many were new.

    InputError names every listing that is not there and every reading of the future, with the
    row of `source` where it stands first. A day without a time is its noon, so that today's
    may lie some hours ahead.
    """
    with deps.store.write() as unit:
        now = deps.clock()
        problems: dict[str, int] = {}
        placed: list[Observation] = []
        ids: dict[str, int] = {}
        for row, (name, observation) in enumerate(rows, start=2):  # the first row names columns
            try:
                ids[name] = ids.get(name) or need_listing(unit, name).id
                at = _past(observation.at, now)
                placed.append(replace(observation, listing=ids[name], at=at, origin="import"))
            except (NotFoundError, InputError) as error:
                problems.setdefault(str(error), row)
        if problems:
            named = [f"{source}: row {row}: {what}" for what, row in problems.items()]
            raise InputError(named[:MOST_SHOWN])
        return unit.log.insert_past(placed)


def _past(at: datetime, now: datetime) -> datetime:
    if at - now > timedelta(days=1):
        raise InputError(f"at: {at:%Y-%m-%d} lies in the future; only past prices are imported")
    return min(at, now)
