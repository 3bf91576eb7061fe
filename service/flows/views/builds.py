"""A build as a sheet: its cost with names and grounds, over time, beside its versions."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import takewhile
from typing import Any

from scrapers import format_amount
from service.builds import texts
from service.builds.compare import Proposal, proposals
from service.builds.cost import BuildCost, LineCost, price_build
from service.builds.cost_json import cost_to_json
from service.builds.view import PriceView
from service.errors import NotFoundError
from service.flows.load import price_view
from service.flows.ports import Deps, Unit
from service.flows.publish import Wish, wished
from service.flows.views.common import (
    WORTH_A_TAG,
    by_listing,
    days_not_lower,
    doubt_row,
    doubts_of,
    money,
)
from service.flows.views.lacking import with_advice
from service.flows.views.own_lines import own_lines
from service.model.builds import Build
from service.model.catalogue import Part
from service.model.prices import Spell
from service.model.times import time_text

MASS = texts.MASS_UNKNOWN.partition("{")[0]
NEWS = timedelta(days=45)
AS_SAVED = Wish()
NO_EXTRAS: Mapping[str, Any] = {
    "low_days": None,
    "doubt": None,
    "evidence": [],
    "seen_at": None,
}


def build_sheet(deps: Deps, key: str, wish: Wish = AS_SAVED) -> dict[str, Any]:
    """The object of `reprice` with names, tags and grounds for every line."""
    with deps.store.read() as unit:
        build = need_build(unit, key)
        asked, view = wished(unit, deps, key, wish)
        cost = price_build(asked, view)
        found = cost_to_json(cost)
        extras = _extras(unit, cost, view)
        found["lines"] = [
            {**row, **_named(line, view), **extras.get(_id(line), NO_EXTRAS), **mine}
            for row, line, mine in zip(
                found["lines"], cost.lines, own_lines(build, cost), strict=True
            )
        ]
        return found | {
            "name": build.name,
            "missing_names": [view.parts[k].name if k in view.parts else k for k in cost.missing],
            "fit": [{**hint, "text": _in_words(hint["text"], view.parts)} for hint in found["fit"]],
            "warnings": [
                _in_words(text, view.parts)
                for text in found["warnings"]
                if not text.startswith(MASS)
            ],
            "mass_unknown": sum(_lacks_mass(line) for line in cost.lines),
            "companions": with_advice(_still_lacking(unit, key, found["companions"]), cost, view),
            "need_by": build.need_by.isoformat() if build.need_by else None,
            "budget": _budget(build, cost),
            "base": build.base,
            "own": build.base is None,
            "state": build.state,
            "versions": [b.key for b in view.builds.values() if b.base == (build.base or key)],
            "pages": len({x.listing.key for x in cost.lines if x.listing}),
            "suppliers": len({x.listing.supplier for x in cost.lines if x.listing}),
            "oldest_hours": _oldest(cost),
            "rate_days": _rate_days(cost),
            "orders": [
                {**row, "supplier_name": _shop_name(row["supplier"], view)}
                for row in found["orders"]
            ],
        }


def _budget(build: Build, cost: BuildCost) -> str | None:
    """None also where the build is shown in another currency than its budget's."""
    if build.budget is None or cost.currency != build.currency:
        return None
    return money(build.budget, build.currency)


def _shop_name(key: str, view: PriceView) -> str:
    shop = view.suppliers.get(key)
    return shop.name if shop else key


def _in_words(text: str, parts: Mapping[str, Part]) -> str:
    """A sentence with parts called as people call them."""
    keys = sorted((key for key in parts if key in text), key=len, reverse=True)
    if not keys:
        return text
    pattern = rf"(?<![\w-])({'|'.join(re.escape(key) for key in keys)})(?![\w-])"
    return re.sub(pattern, lambda match: parts[match[0]].name, text)


def _still_lacking(unit: Unit, key: str, found: list[dict[str, str]]) -> list[dict[str, str]]:
    """Without what the user has dismissed for this build."""
    gone = set(json.loads(unit.setting(f"dismissed.{key}") or "[]"))
    return [entry for entry in found if entry.get("rule") not in gone]


def need_build(unit: Unit, key: str) -> Build:
    """NotFoundError names what there is."""
    found = unit.catalogue.build(key)
    if found is None:
        raise NotFoundError(f'no build "{key}"')
    return found


def _id(line: LineCost) -> int:
    return line.listing.id if line.listing else 0


def _rate_days(cost: BuildCost) -> list[str]:
    """The days of the exchange rates that were used."""
    days = {x.rate_day for x in cost.lines if x.rate_day and x.currency != cost.currency}
    return [day.isoformat() for day in sorted(days)]


def _lacks_mass(line: LineCost) -> bool:
    """Tools, supplies and hours weigh nothing in the model."""
    return bool(line.part) and line.mass is None and line.counts.kind not in {"tool", "stock"}


def _oldest(cost: BuildCost) -> float | None:
    ages = [line.age for line in cost.lines if line.age is not None]
    return round(max(ages).total_seconds() / 3600, 2) if ages else None


def _named(line: LineCost, view: PriceView) -> dict[str, Any]:
    shop = view.suppliers.get(line.listing.supplier) if line.listing else None
    part = view.parts.get(line.part or "")
    return {
        "name": part.name if part else line.name,
        "supplier_name": shop.name if shop else None,
        "url": line.listing.url if line.listing else None,
        "rate_day": line.rate_day.isoformat() if line.rate_day and line.rate != 1 else None,
        "spec": dict(part.spec) if part else {},
        "extra": _extra(line),
    }


def _extra(line: LineCost) -> str | None:
    """What a price was multiplied by besides its rate (tax, payment); None: nothing."""
    if not (line.to_spend and line.buy and line.price and line.rate):
        return None
    factor = line.to_spend / (line.buy * line.price * line.rate)
    rounding = Decimal("0.006") / line.to_spend
    if abs(factor - 1) <= rounding:
        return None
    return f"{factor.quantize(Decimal('0.001')).normalize():f}"


def _extras(unit: Unit, cost: BuildCost, view: PriceView) -> dict[int, dict[str, Any]]:
    """By listing: what is held back, for how long it was no lower, where the price stood."""
    ids = [line.listing.id for line in cost.lines if line.listing]
    states, doubts = unit.polls.states(ids), doubts_of(unit, ids)
    spells = by_listing(unit.log.spells(ids, view.at - timedelta(days=366)))
    found: dict[int, dict[str, Any]] = {}
    for listing in ids:
        known = [s for s in spells.get(listing, []) if s.first_seen <= view.at]
        days = days_not_lower(known, view.at)
        state = states.get(listing)
        found[listing] = {
            "low_days": days if days and days >= WORTH_A_TAG and _is_news(known, view.at) else None,
            "doubt": doubt_row(doubts.get(listing)),
            "evidence": [dict(item) for item in state.evidence] if state else [],
            "seen_at": time_text(view.prices[listing].seen_at) if listing in view.prices else None,
        }
    return found


def _is_news(known: list[Spell], at: datetime) -> bool:
    """Whether the price of now began not long ago."""
    price = known[-1].offer.price
    run = takewhile(lambda spell: spell.offer.price == price, reversed(known))
    return at - min(spell.first_seen for spell in run) <= NEWS


def versions(deps: Deps, key: str) -> dict[str, Any]:
    """A build and what derives from it, side by side: cost and mass by group, what changed."""
    with deps.store.read() as unit:
        build = need_build(unit, key)
        root = build.base or key
        view = price_view(unit, deps, deps.clock())
        members = [b for b in view.builds.values() if root in (b.key, b.base)]
        costs = [price_build(member, view) for member in members]
        return {
            "build": root,
            "name": view.builds[root].name if root in view.builds else root,
            "currency": build.currency,
            "columns": [_column(m, c) for m, c in zip(members, costs, strict=True)],
            "groups": list(dict.fromkeys(name for cost in costs for name, _ in cost.groups)),
            "changes": {m.key: _changes(m, view.parts) for m in members},
            "proposals": [_proposal(p, build, view.parts) for p in proposals(build, view)],
            "parts": [{"part": p.key, "name": p.name} for p in view.parts.values()],
            "used": _used(costs[0], view.parts) if costs else [],
        }


def _used(cost: BuildCost, parts: Mapping[str, Part]) -> list[dict[str, str]]:
    keys = dict.fromkeys(line.part for line in cost.lines if line.part in parts)
    return [{"part": key, "name": parts[key].name} for key in keys if key]


def _column(build: Build, cost: BuildCost) -> dict[str, Any]:
    found = cost_to_json(cost)
    return {
        "build": build.key,
        "name": build.name,
        "currency": build.currency,
        "base": build.base,
        "groups": {row["group"]: row for row in found["groups"]},
        "totals": found["totals"],
    }


def _proposal(one: Proposal, build: Build, parts: Mapping[str, Part]) -> dict[str, Any]:
    """Another part that still meets what a line of the build asks for, and what it saves."""
    return {
        "part": parts[one.part].name,
        "instead_of": parts[one.instead_of].name,
        "note": one.note or None,
        "saves_share": money(one.share, build.currency),
        "saves_to_spend": money(one.to_spend, build.currency),
    }


def _changes(build: Build, parts: Mapping[str, Part]) -> list[dict[str, Any]]:
    def name(key: str | None) -> str | None:
        return parts[key].name if key is not None and key in parts else key

    return [
        {
            "old": name(change.old),
            "new": name(change.new or (change.old if change.amount else None)),
            "amount": format_amount(change.amount) if change.amount else None,
        }
        for change in build.replace
    ]
