"""React: what new prices set off, inside the transaction that keeps them.

Only targets whose subject was touched are looked at: the listing itself, a
part it supplies, a requirement that such a part meets, a build that uses it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from service.deals.episodes import Step, step
from service.flows.ports import Deps, Unit
from service.model.catalogue import Listing, Part
from service.model.deals import Deal, DealState, Target
from service.notices import compose

if TYPE_CHECKING:
    from service.flows.standing import Known


def react(unit: Unit, deps: Deps, touched: Collection[int], *, at: datetime) -> list[Deal]:
    """Evaluate what the touched listings may have changed; answers the deals that changed."""
    targets = unit.catalogue.targets()
    if not targets:
        return []
    listings = unit.catalogue.listings(touched)
    affected = _affected(unit, targets, listings)
    if not affected:
        return []
    from service.flows.standing import standing  # noqa: PLC0415  only where a target is touched

    known = _known(unit, deps, affected, at)
    open_deals = {deal.target: deal for deal in unit.deals.open_deals()}
    changed = []
    for target in affected:
        since = unit.deals.met_since(target.key)
        now = standing(target, known)
        result = step(target, now, open_deals.get(target.key), at=at, met_since=since)
        if result.met_since != since:
            unit.deals.set_met(target.key, result.met_since)
        if result.deal is not None and _keep(unit, deps, target, result, at):
            changed.append(result.deal)
    return changed


def _affected(unit: Unit, targets: Iterable[Target], listings: Collection[Listing]) -> list[Target]:
    names = {name for entry in listings for name in (entry.key, entry.url)}
    parts = {supply.part for entry in listings for supply in entry.supplies}
    by_key = unit.catalogue.parts()
    builds: set[str] | None = None
    found = []
    for target in targets:
        if target.kind == "build" and builds is None:
            builds = {build.key for build in unit.catalogue.builds_using([x.id for x in listings])}
        if _concerns(target, names, parts, builds or set(), by_key):
            found.append(target)
    return found


def _concerns(
    target: Target,
    names: Collection[str | None],
    parts: Collection[str],
    builds: Collection[str],
    by_key: dict[str, Part],
) -> bool:
    if target.kind == "listing":
        return target.subject in names
    if target.kind == "part":
        return target.subject in parts
    if target.kind == "build":
        return target.subject in builds
    from service.builds.requirements import meets  # noqa: PLC0415  start-up time

    return any(key in by_key and meets(by_key[key], target.need) for key in parts)


def _known(unit: Unit, deps: Deps, targets: Iterable[Target], at: datetime) -> Known:
    from service.flows.load import price_view  # noqa: PLC0415  start-up time
    from service.flows.standing import Known  # noqa: PLC0415  start-up time

    kinds = {target.kind for target in targets}
    if kinds & {"build", "need", "listing"}:
        view = price_view(unit, deps, at)
    else:
        by_id = {
            entry.id: entry
            for target in targets
            for entry in unit.catalogue.listings_of(target.subject)
        }
        view = price_view(unit, deps, at, list(by_id.values()))
    states = unit.polls.states([entry.id for entry in view.listings])
    return Known(unit, view, states, at)


def _keep(unit: Unit, deps: Deps, target: Target, result: Step, at: datetime) -> bool:
    deal = result.deal
    if deal is None:
        return False
    if result.tell == "opened" and any(
        past.key == deal.key and past.state is DealState.CLOSED for past in unit.deals.deals()
    ):
        return False  # the same price, seen again after a doubt: this episode was told
    unit.deals.put(deal)
    if result.tell:
        name = _name(unit, target)
        for channel in deps.channels:
            told = compose(deal, target, channel=channel, tell=result.tell, name=name, at=at)
            unit.outbox.add(told, at)
    return True


def _name(unit: Unit, target: Target) -> str:
    if target.kind == "build":
        build = unit.catalogue.build(target.subject)
        return build.name if build else target.subject
    part = unit.catalogue.parts().get(target.subject)
    return part.name if part else target.subject
