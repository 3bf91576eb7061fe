"""What a user says of a reading that was kept aside: it is right, or it is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from scrapers import Availability, Tax
from service.errors import InputError
from service.flows.identity import identity_in, rejected_in, with_rejected
from service.flows.names import need_listing
from service.flows.ports import Deps, Doubt, ListingState, Unit
from service.flows.react import react
from service.model.catalogue import Listing
from service.model.prices import Observation, Offer


def accept(deps: Deps, name: str) -> Offer:
    """Believe the reading that was kept aside (or was rejected and still stands on the page).

    It takes its place in the price log, and the page is known from now on by what it called
    itself in it.
    """
    with deps.store.write() as unit:
        listing = need_listing(unit, name)
        state = unit.polls.states([listing.id]).get(listing.id)
        doubt = _kept(unit, listing) or (rejected_in(state) if state else None)
        if doubt is None or state is None:
            raise InputError(f"{listing.key}: no reading is kept aside")
        offer = _offer_in(doubt.reading, listing.key)
        unit.log.record([Observation(listing.id, doubt.at, offer)])
        unit.log.clear_doubt(listing.id)
        unit.polls.save_states([_believed(state, doubt.reading)])
        react(unit, deps, {listing.id}, at=doubt.at)
        return offer


def reject(deps: Deps, name: str) -> str:
    """Drop the reading that was kept aside; while the page shows it again, nobody is asked."""
    with deps.store.write() as unit:
        listing = need_listing(unit, name)
        doubt = _kept(unit, listing)
        if doubt is None:
            raise InputError(f"{listing.key}: no reading is kept aside")
        unit.log.clear_doubt(listing.id)
        if state := unit.polls.states([listing.id]).get(listing.id):
            unit.polls.save_states([replace(state, identity=with_rejected(state, doubt))])
        return listing.key


def _kept(unit: Unit, listing: Listing) -> Doubt | None:
    return next(iter(unit.log.doubts([listing.id])), None)


def _believed(state: ListingState, reading: Mapping[str, Any]) -> ListingState:
    return replace(
        state,
        verdict="ok",
        last_outcome="ok",
        last_reason=None,
        evidence=tuple(dict(item) for item in reading.get("evidence") or ()),
        identity=identity_in(reading),
    )


def _offer_in(reading: Mapping[str, Any], key: str) -> Offer:
    if not reading.get("price") or not reading.get("currency"):
        raise InputError(
            f'{key}: the reading holds no one price; book it by hand with "ebbmark price", '
            "or name the choice or a rule in the catalogue"
        )
    listed = reading.get("list_price")
    return Offer(
        Decimal(reading["price"]),
        reading["currency"],
        Decimal(listed) if listed else None,
        Availability(reading.get("availability") or "unknown"),
        Tax(reading.get("tax") or "unknown"),
    )
