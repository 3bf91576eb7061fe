"""Parts: the list, one part with all that is known of it, parts of a kind side by side."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

from scrapers import format_amount
from service.builds.amounts import unit_size
from service.builds.offers import Market, Quote
from service.builds.requirements import meets
from service.builds.versions import resolve
from service.builds.view import PriceView
from service.charts.model import PriceChart
from service.errors import InputError, NotFoundError
from service.flows.build_edit import BULK
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.flows.views.chart import price_chart
from service.flows.views.common import (
    best_first,
    doubts_of,
    fine,
    listing_row,
    measure_of,
    money,
    per_measure,
    per_own_unit,
)
from service.model.builds import Build
from service.model.catalogue import Part
from service.model.deals import Target, condition_text


def parts(deps: Deps) -> list[dict[str, Any]]:
    """Every part with its lowest usable price a natural unit."""
    with deps.store.read() as unit:
        view = price_view(unit, deps, deps.clock())
        market = Market(view, deps.currency)
        return [_row(market, part) for part in view.parts.values()]


def _row(market: Market, part: Part) -> dict[str, Any]:
    quotes = best_first(market, part)
    best = quotes[0] if quotes else None
    name, size = measure_of(part)
    return {
        "part": part.key,
        "name": part.name,
        "unit": part.unit,
        "spec": dict(part.spec),
        "classes": list(part.classes),
        "listings": len(market.listings(part.key)),
        "each": money(per_own_unit(best), market.currency) if best else None,
        "per": fine(per_measure(best), market.currency) if best else None,
        "per_unit": name,
        "measure": f"{float(size):.4g}" if size != 1 and name != part.unit else None,
        "supplier": best.listing.supplier if best else None,
        "status": best.status if best else "missing",
        "currency": market.currency,
        "supplier_name": _shop_name(market, best),
        "bulk": BULK.get(part.unit),
    }


def _shop_name(market: Market, best: Quote | None) -> str | None:
    shop = market.view.suppliers.get(best.listing.supplier) if best else None
    return shop.name if shop else None


def part_names(deps: Deps) -> list[dict[str, str]]:
    """Every part's key, name and unit: for choosing one."""
    with deps.store.read() as unit:
        found = unit.catalogue.parts().values()
    return [{"part": p.key, "name": p.name, "unit": p.unit} for p in found]


def names(deps: Deps) -> dict[str, dict[str, str]]:
    """How people call parts, builds and suppliers, by key."""
    with deps.store.read() as unit:
        book = unit.catalogue
        return {
            "part": {key: p.name for key, p in book.parts().items()},
            "build": {key: b.name for key, b in book.builds().items()},
            "supplier": {key: s.name for key, s in book.suppliers().items()},
        }


def kinds(deps: Deps, name: str, need: Mapping[str, str]) -> dict[str, Any]:
    """Parts of one kind (goods class, or the word that its specification begins with)."""
    with deps.store.read() as unit:
        view = price_view(unit, deps, deps.clock())
        market = Market(view, deps.currency)
        members = [p for p in view.parts.values() if name in kinds_of(p)]
        if not members:
            raise NotFoundError(f'no part of the kind "{name}"')
        rows = [_row(market, part) for part in members if not need or meets(part, dict(need))]
        fields = sorted({field for part in members for field in part.spec})
    rows.sort(key=lambda row: (row["per"] is None, float(row["per"] or 0)))
    return {"kind": name, "parts": rows, "fields": fields, "of": len(members)}


def kinds_of(part: Part) -> set[str]:
    """What a part is, as far as its measure and goods class tell."""
    unit = measure_of(part)[0]
    by_unit = {"Wh": "batteries", "A": "controllers", "m2": "sheet and cloth", "kg": "by mass"}
    found = {by_unit[unit]} if unit in by_unit else set()
    return found | {"by length"} if unit == "m" else found


def part(deps: Deps, key: str) -> dict[str, Any]:
    """A part with its listings, targets, purchases, and the builds that need it."""
    with deps.store.read() as unit:
        found = _need(unit, key)
        view = price_view(unit, deps, deps.clock(), unit.catalogue.listings_of(key))
        market = Market(view, deps.currency)
        listings = market.listings(key)
        ids = [listing.id for listing in listings]
        quotes = {quote.listing.id: quote for quote in market.quotes(found)}
        states, doubts = unit.polls.states(ids), doubts_of(unit, ids)
        rows = [
            listing_row(x, quotes, states, doubts, view.suppliers, deps.currency) for x in listings
        ]
        met = {deal.target for deal in unit.deals.open_deals()}
        used = [b for b in view.builds.values() if key in _parts_in(b, view)]
        return {
            **_row(market, found),
            "spec_text": spec_text(found),
            "kinds": sorted(kinds_of(found)),
            "mass": format_amount(found.mass) if found.mass else None,
            "where": _cheapest_first(rows),
            "builds": [{"build": b.key, "name": b.name} for b in used],
            "need_by": _soonest(used),
            "targets": [
                _target(t, met)
                for t in unit.catalogue.targets()
                if t.kind == "part" and t.subject == key
            ],
            "purchases": _purchases(unit, key),
            "equivalents": [
                {"part": e.part, "name": _name(view.parts, e.part), "note": e.note}
                for e in found.equivalents
            ],
        }


def _need(unit: Unit, key: str) -> Part:
    found = unit.catalogue.parts().get(key)
    if found is None:
        raise NotFoundError(f'no part "{key}"')
    return found


def _name(parts: Mapping[str, Part], key: str) -> str:
    return parts[key].name if key in parts else key


def _cheapest_first(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    def rank(row: dict[str, Any]) -> tuple[bool, bool, float]:
        return row["per"] is None, row["status"] != "priced", float(row["per"] or 0)

    return sorted(rows, key=rank)


def _parts_in(build: Build, view: PriceView) -> set[str]:
    """What its lines name, and what mixtures are mixed of."""
    try:
        lines = resolve(build, view.builds).lines
    except InputError:
        return set()
    named = {line.part for line in lines if line.part} | {w.part for x in lines for w in x.choose}
    mixed = (view.parts[key].mix_of for key in named if key in view.parts)
    return named.union(*mixed)


def _soonest(builds: list[Build]) -> str | None:
    days = [build.need_by for build in builds if build.need_by]
    return min(days).isoformat() if days else None


def _target(target: Target, met: Collection[str]) -> dict[str, Any]:
    money_ = target.at_or_below or target.unit_at_or_below
    return {
        "key": target.key,
        "condition": condition_text(target),
        "value": money(money_.amount, money_.currency) if money_ else None,
        "currency": money_.currency if money_ else None,
        "open": target.key in met,
        "until": target.until.isoformat() if target.until else None,
    }


def _purchases(unit: Unit, key: str) -> list[dict[str, Any]]:
    return [
        {
            "on": p.on.isoformat() if p.on else None,
            "supplier": p.supplier,
            "count": f"{p.count.normalize():f}",
            "total": money(p.total.amount, p.total.currency),
            "currency": p.total.currency,
            "order": p.order,
            "condition": p.condition,
        }
        for p in unit.purchases.all()
        if p.part == key
    ]


def spec_text(part: Part) -> str:
    """The specification in one line: `4 cells, 3300 mAh`."""
    words = [f"{value} {_label(name)}".strip() for name, value in part.spec.items()]
    name, size = measure_of(part)
    if name == "Wh":
        words.insert(0, f"{float(size):.3g} Wh")
    return ", ".join(words)


def _label(name: str) -> str:
    """`capacity_mAh` -> `mAh`, as builders say it."""
    return {"kv": "KV", "c_rating": "C", "amps": "A"}.get(name, name.rpartition("_")[2] or name)


def part_chart(deps: Deps, key: str, days: int | None, listing: str | None = None) -> PriceChart:
    """The price of one unit over time: the cheapest listing (or `listing`) and the others."""
    with deps.store.read() as unit:
        found = _need(unit, key)
        now = deps.clock()
        view = price_view(unit, deps, now, unit.catalogue.listings_of(key))
        quotes = best_first(Market(view, deps.currency), found)
        if listing:
            quotes.sort(key=lambda quote: quote.listing.key != listing)
        limits = (_limit(t, key, deps) for t in unit.catalogue.targets())
        limit = next((amount for amount in limits if amount is not None), None)
        measure = BULK.get(found.unit)
        return price_chart(
            unit,
            quotes,
            at=now,
            since=_since(unit, quotes, days, now),
            currency=deps.currency,
            target=limit,
            title=_title(measure or found.unit),
            scale=Fraction(1000) if measure else unit_size(found),
        )


def _title(unit: str) -> str:
    return "Price of one" if unit == "piece" else f"Price of one {unit}"


def _limit(target: Target, key: str, deps: Deps) -> Decimal | None:
    """What a target asks of this part, as the chart counts; None: not of one price."""
    limit = target.at_or_below or target.unit_at_or_below
    if target.subject != key or limit is None or limit.currency != deps.currency:
        return None
    return limit.amount


def _since(unit: Unit, quotes: list[Quote], days: int | None, now: datetime) -> datetime:
    if days:
        return now - timedelta(days=days)
    spells = unit.log.spells([quote.listing.id for quote in quotes])
    return min((spell.first_seen for spell in spells), default=now - timedelta(days=90))
