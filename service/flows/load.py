"""Load what pure rules look at: one place that turns a transaction into a PriceView."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from service.builds.breaks import page_breaks
from service.builds.view import PriceView, Rule, Supplies
from service.flows.books import own
from service.flows.ports import Deps, Unit
from service.model.catalogue import Listing
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
        fee=deps.extra.get("fee"),
        account=deps.currency,
        import_rules=deps.extra.get("import_rules", ""),
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
