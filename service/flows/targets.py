"""Targets as the user sees them: all of them, one on a page, and how to take one away."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.builds.requirements import meets
from service.errors import NotFoundError
from service.flows.build_edit import limit_of
from service.flows.names import need_listing
from service.flows.ports import Deps, Unit
from service.flows.react import react
from service.model.book import Book
from service.model.deals import DealState, Target, condition_text

REMOVED = "you took the target away"


def rows(deps: Deps) -> list[dict[str, Any]]:
    """Every target: `key`, `kind`, `subject`, `name`, `condition`, `need`, `open`."""
    with deps.store.read() as unit:
        targets = unit.catalogue.targets()
        if not targets:
            return []
        met = {deal.target for deal in unit.deals.open_deals()}
        names = _names(unit)
    return [
        {
            "key": target.key,
            "kind": target.kind,
            "subject": target.subject,
            "name": _name(target, names),
            "condition": condition_text(target),
            "need": dict(target.need),
            "until": target.until.isoformat() if target.until else None,
            "open": target.key in met,
        }
        for target in targets
    ]


def _names(unit: Unit) -> dict[tuple[str, str], str]:
    book = unit.catalogue
    found: dict[tuple[str, str], str] = {}
    parts, shops = book.parts(), book.suppliers()
    found |= {("part", key): part.name for key, part in parts.items()}
    found |= {("build", key): build.name for key, build in book.builds().items()}
    for entry in book.listings():
        part, shop = parts.get(entry.supplies[0].part), shops.get(entry.supplier)
        name = f"{part.name if part else entry.key}, {shop.name if shop else entry.supplier}"
        found |= {("listing", entry.key): name, ("listing", entry.url or entry.key): name}
    return found


def _name(target: Target, names: dict[tuple[str, str], str]) -> str:
    if target.kind == "need":
        return "any part with " + ", ".join(f"{k} {v}" for k, v in target.need.items())
    return names.get((target.kind, target.subject), target.subject)


def of_kind(deps: Deps, members: list[str]) -> list[dict[str, Any]]:
    """Targets on a requirement that at least one of these parts meets."""
    wanted = [row for row in rows(deps) if row["kind"] == "need"]
    if not wanted:
        return []
    with deps.store.read() as unit:
        known = unit.catalogue.parts()
    parts = [known[key] for key in members if key in known]
    return [row for row in wanted if any(meets(part, row["need"]) for part in parts)]


def on_listing(deps: Deps, name: str, value: str) -> str:
    """Tell me when this page's price is at or below `value`; answers the listing's key.

    It compares in the currency of the page unless `value` names another.
    """
    with deps.store.write() as unit:
        listing = need_listing(unit, name)
        now = unit.log.as_of(deps.clock(), [listing.id]).get(listing.id)
        limit = limit_of(value, now.offer.currency if now else deps.currency)
        key = f"listing:{listing.key}:at_or_below"
        target = Target(key, "listing", listing.key, at_or_below=limit)
        unit.catalogue.save(Book(targets=(target,)), now=deps.clock())
        react(unit, deps, {listing.id}, at=deps.clock())
        return listing.key


def remove(deps: Deps, key: str) -> None:
    """Tell no more; a deal that is open on it is closed with that reason. NotFoundError."""
    with deps.store.write() as unit:
        if not unit.catalogue.remove_target(key):
            raise NotFoundError("this target is no longer there: load the page again")
        unit.deals.set_met(key, None)
        for deal in unit.deals.open_deals():
            if deal.target == key:
                closed = replace(
                    deal,
                    state=DealState.CLOSED,
                    closed_at=deps.clock(),
                    close_reason=REMOVED,
                )
                unit.deals.put(closed)
