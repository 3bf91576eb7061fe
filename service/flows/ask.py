"""Questions: what pages, commands and the API show. Nothing here changes anything."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from scrapers import format_amount
from service.errors import NotFoundError
from service.flows.names import listing_named, moment, need_build
from service.flows.ports import Deps, ListingState, Unit
from service.model.builds import Build
from service.model.catalogue import Listing
from service.model.deals import Deal, DealState, Target, condition_text
from service.model.money import money_text
from service.model.prices import PriceNow
from service.model.times import time_text

if TYPE_CHECKING:
    from service.builds.cost import BuildCost


def cost(deps: Deps, build: str, at: str | datetime | None = None) -> BuildCost:
    """A saved build repriced. NotFoundError; InputError for a day that cannot be read."""
    from service.builds.cost import price_build  # noqa: PLC0415  start-up time
    from service.flows.load import price_view  # noqa: PLC0415  start-up time

    when = at if isinstance(at, datetime) else moment(at, deps)
    with deps.store.read() as unit:
        found = need_build(unit, build)
        return price_build(found, price_view(unit, deps, when))


def reprice(deps: Deps, build: str, at: str | datetime | None = None) -> dict[str, Any]:
    """The JSON object of `ebbmark reprice`."""
    from service.builds.cost_json import cost_to_json  # noqa: PLC0415  start-up time

    return cost_to_json(cost(deps, build, at))


def builds(deps: Deps) -> list[dict[str, Any]]:
    """Every saved build with its totals now."""
    from service.builds.cost import price_builds  # noqa: PLC0415  start-up time
    from service.flows.load import price_view  # noqa: PLC0415  start-up time

    with deps.store.read() as unit:
        view = price_view(unit, deps, deps.clock())
    members = list(view.builds.values())
    costs = price_builds(members, view)  # they share the quotes
    return [_build_row(build, cost) for build, cost in zip(members, costs, strict=True)]


def _build_row(build: Build, found: BuildCost) -> dict[str, Any]:
    from service.builds.cost_json import totals_to_json  # noqa: PLC0415  start-up time

    return {
        "build": build.key,
        "name": build.name,
        "currency": build.currency,
        "state": build.state,
        "budget": None if build.budget is None else money_text(build.budget, build.currency),
        "need_by": build.need_by.isoformat() if build.need_by else None,
        "base": build.base,
        "lines": len(found.lines),
        "totals": totals_to_json(found),
        "missing": list(found.missing),
    }


def listings(deps: Deps) -> list[dict[str, Any]]:
    """Every listing with its last price and its last visit."""
    with deps.store.read() as unit:
        entries = unit.catalogue.listings()
        ids = [entry.id for entry in entries]
        prices, states = unit.log.as_of(deps.clock(), ids), unit.polls.states(ids)
        return [_listing_row(x, prices.get(x.id), states.get(x.id)) for x in entries]


def _listing_row(
    listing: Listing, now: PriceNow | None, state: ListingState | None
) -> dict[str, Any]:
    visited = state.last_visit_at if state else None
    return {
        "listing": listing.key,
        "supplier": listing.supplier,
        "parts": [supply.part for supply in listing.supplies],
        "url": listing.url,
        "sold_as": [format_amount(supply.amount) for supply in listing.supplies],
        **_price_fields(now),
        "outcome": state.last_outcome if state else None,
        "reason": state.last_reason if state else None,
        "visited_at": time_text(visited) if visited else None,
        "next_due_at": time_text(state.next_due_at) if state and listing.url else None,
    }


def _price_fields(now: PriceNow | None) -> dict[str, Any]:
    names = ("price", "currency", "list_price", "availability", "tax", "seen_at", "doubtful")
    if now is None:
        return dict.fromkeys(names)
    offer = now.offer
    listed = offer.list_price
    return {
        "price": money_text(offer.price, offer.currency),
        "currency": offer.currency,
        "list_price": None if listed is None else money_text(listed, offer.currency),
        "availability": offer.availability.value,
        "tax": offer.tax.value,
        "seen_at": time_text(now.seen_at),
        "doubtful": now.doubtful,
    }


def evidence(deps: Deps, listing: str) -> list[dict[str, Any]]:
    """Where the values of the last accepted reading stood on the page."""
    with deps.store.read() as unit:
        found = listing_named(unit, listing)
        if found is None:
            raise NotFoundError(f'no listing "{listing}"')
        state = unit.polls.states([found.id]).get(found.id)
        return [dict(item) for item in state.evidence] if state else []


def deals(deps: Deps, *, only_open: bool = False) -> list[dict[str, Any]]:
    """Deals, open ones first, then the latest closed ones, each with its evidence.

    `doubt`: what the page of an open one has said since and is not believed: the deal stands
    at the last price that was.
    """
    with deps.store.read() as unit:
        targets = {target.key: target for target in unit.catalogue.targets()}
        found = unit.deals.open_deals()
        if not only_open:
            open_keys = {deal.key for deal in found}
            found = found + [deal for deal in unit.deals.deals() if deal.key not in open_keys]
        return [_deal_row(deal, targets.get(deal.target), _held_back(unit, deal)) for deal in found]


def _held_back(unit: Unit, deal: Deal) -> dict[str, Any] | None:
    listing = unit.catalogue.listing(deal.listing or "") if deal.state is DealState.OPEN else None
    doubt = next(iter(unit.log.doubts([listing.id])), None) if listing else None
    if doubt is None:
        return None
    said = {name: doubt.reading.get(name) for name in ("price", "currency")}
    return {**said, "at": time_text(doubt.at), "reason": doubt.reason}


def _deal_row(deal: Deal, target: Target | None, doubt: dict[str, Any] | None) -> dict[str, Any]:
    value = deal.value
    return {
        "key": deal.key,
        "state": deal.state.value,
        "kind": deal.kind,
        "subject": deal.subject,
        "condition": condition_text(target) if target else None,
        "price": money_text(value.amount, value.currency) if value else None,
        "currency": value.currency if value else None,
        "listing": deal.listing,
        "opened_at": time_text(deal.opened_at),
        "closed_at": time_text(deal.closed_at) if deal.closed_at else None,
        "close_reason": deal.close_reason,
        "evidence": [dict(item) for item in deal.evidence],
        "doubt": doubt,
    }
