"""A build's cost as its builder hands it on: named, in a currency and for a country of choice."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

from service.builds import texts
from service.builds.cost import BuildCost, price_build
from service.builds.cost_json import cost_to_json
from service.builds.figures import group_sums, sums
from service.builds.versions import resolve
from service.builds.view import PriceView, Rule
from service.errors import InputError
from service.flows.load import price_view
from service.flows.names import moment, need_build
from service.flows.ports import Deps, Gap, Unit
from service.model.builds import Build
from service.model.countries import read_country
from service.model.money import money_text, parse_currency
from service.model.prices import PriceNow, Spell, fresh_for
from service.prices.stats import describe, usual_price
from service.prices.track import make_track

YEAR = timedelta(days=365)
DAYS = 90  # of the usual price, where the settings say nothing
RULES: dict[str, Rule] = {"cheapest": "cheapest per unit", "least-spend": "least to spend"}
FROM_NOTHING, USUAL = "from_nothing", "usual"
MASS = texts.MASS_UNKNOWN.partition("{")[0]


@dataclass(frozen=True, slots=True)
class Wish:
    """How a build is priced. None: as it is saved, at the settings' prices of now."""

    at: str | None = None
    rule: Rule = "cheapest per unit"
    currency: str | None = None
    country: str | None = None


@dataclass(frozen=True, slots=True)
class Published:
    """The object of `reprice` with what only a publisher shows.

    Lines, groups and totals also have `from_nothing` (what somebody who has nothing
    spends) and `usual` (the share at the median price of `usual_days` days); lines the
    `rate_day` of their exchange rate. A line whose price was watched too little has no
    `usual`, and its sums are at least so much (`usual_complete` False). `on_sale`: listings
    below their regular price; `names` of parts.
    """

    answer: Mapping[str, Any]
    names: Mapping[str, str] = field(default_factory=dict)
    on_sale: frozenset[str] = frozenset()


def read_wish(
    at: str | None = None,
    rule: str = "cheapest",
    currency: str | None = None,
    country: str | None = None,
) -> Wish:
    """As it is written in commands and addresses; an empty text is none. InputError."""
    if rule not in RULES:
        raise InputError(f'rule: "{rule}" is none of {", ".join(RULES)}')
    return Wish(
        at or None,
        RULES[rule],
        parse_currency(currency.strip().upper()) if currency else None,
        read_country(country) if country else None,
    )


def reprice(deps: Deps, build: str, wish: Wish) -> dict[str, Any]:
    """The JSON object of `ebbmark reprice`, with the build's budget and day.

    The budget is None where another currency is asked for. NotFoundError; InputError.
    """
    with deps.store.read() as unit:
        asked, view = wished(unit, deps, build, wish)
        own = view.builds[build]
        same = own.budget is not None and own.currency == asked.currency
        return cost_to_json(price_build(asked, view)) | {
            "budget": money_text(own.budget, own.currency) if same and own.budget else None,
            "need_by": own.need_by.isoformat() if own.need_by else None,
        }


def published(deps: Deps, build: str, wish: Wish) -> Published:
    """The same to be handed on."""
    with deps.store.read() as unit:
        asked, view = wished(unit, deps, build, wish)
        past = _past(unit, view, cost := price_build(asked, view))
        gaps = _gaps(unit, past, view)
    fixed, tied = as_chosen(asked, cost, view)
    found = cost_to_json(cost)
    bare = price_build(fixed, replace(tied, on_hand={}, holdings={}, purchases=()))
    _beside(found, cost_to_json(bare), "to_spend", FROM_NOTHING)
    days = getattr(deps.extra.get("settings"), "usual_days", DAYS)
    known = _usual(past, gaps, view, days)
    usual = price_build(fixed, replace(tied, prices={**view.prices, **known}))
    _beside(found, cost_to_json(_only_known(usual, known)), "share", USUAL)
    return Published(
        _named(found, cost, view) | {"usual_days": days},
        {key: part.name for key, part in view.parts.items()},
        frozenset(_on_sale(cost, past, _regular(past, view))),
    )


def wished(unit: Unit, deps: Deps, key: str, wish: Wish) -> tuple[Build, PriceView]:
    """The build and the prices that a wish asks for. NotFoundError; InputError."""
    build = need_build(unit, key)
    view = price_view(unit, deps, moment(wish.at, deps), rule=wish.rule)
    if wish.currency or wish.country:
        build = replace(
            resolve(build, view.builds),
            currency=wish.currency or build.currency,
            destination=wish.country or build.destination,
        )
    return build, view


def _past(unit: Unit, view: PriceView, cost: BuildCost) -> dict[int, list[Spell]]:
    """The last year of each listing that counts."""
    used = [line.listing.id for line in cost.lines if line.listing]
    found: dict[int, list[Spell]] = {}
    for spell in unit.log.spells(used, view.at - YEAR):
        if spell.first_seen <= view.at:
            found.setdefault(spell.listing, []).append(spell)
    return found


def _gaps(unit: Unit, past: Collection[int], view: PriceView) -> dict[int, list[Gap]]:
    """Stretches of that time in which nobody looked."""
    found: dict[int, list[Gap]] = {}
    for gap in unit.log.gaps(list(past), view.at - YEAR):
        found.setdefault(gap.listing, []).append(gap)
    return found


def _usual(
    past: Mapping[int, list[Spell]],
    gaps: Mapping[int, list[Gap]],
    view: PriceView,
    days: int,
) -> dict[int, PriceNow]:
    """Each listing at the median of its prices, where it was watched long enough to tell."""
    fresh = {listing.id: fresh_for(listing.every) for listing in view.listings}
    found = {}
    for number, known in past.items():
        track = make_track(known, gaps.get(number, ()), at=view.at, fresh=fresh[number])
        usual, now = usual_price(track, days), view.prices.get(number)
        if usual is not None and now is not None and track.currency == now.offer.currency:
            found[number] = replace(now, offer=replace(now.offer, price=usual))
    return found


def _only_known(cost: BuildCost, known: Collection[int]) -> BuildCost:
    """The cost without a share where the price is not known to be the usual one."""
    lines = tuple(
        replace(x, share=None) if x.listing and x.share and x.listing.id not in known else x
        for x in cost.lines
    )
    totals = sums(lines)
    return replace(cost, lines=lines, groups=group_sums(lines), totals=totals)


def _regular(past: Mapping[int, list[Spell]], view: PriceView) -> dict[int, PriceNow]:
    """Each listing at its price outside sales, where that is known."""
    found = {}
    for number, known in past.items():
        regular, now = describe(known, at=view.at).regular, view.prices.get(number)
        if regular is not None and now is not None:
            found[number] = replace(now, offer=replace(now.offer, price=regular))
    return found


def as_chosen(build: Build, cost: BuildCost, view: PriceView) -> tuple[Build, PriceView]:
    """The same build and view, every line tied to the part and listing it was priced with."""
    whole = resolve(build, view.builds)
    shown = [line for line in cost.lines if line.place is not None]  # no supplies, no labour
    chosen: dict[str, str] = {}
    lines, seen = [], set[int]()
    for row in shown:
        place = row.place or 0
        line = whole.lines[place]
        if place in seen:  # the other component of a mixture
            line = replace(line, hours=None)
        seen.add(place)
        if row.part in view.parts:
            line = replace(line, part=row.part, need={}, choose=(), amount=row.amount)
        named = row.listing.key if row.listing else None
        if row.part and named and chosen.setdefault(row.part, named) != named:
            line = replace(line, listing=named)  # one that counts whole beside a share
        lines.append(line)
    return replace(whole, lines=tuple(lines)), replace(view, choose=chosen)


def _on_sale(
    cost: BuildCost, past: Mapping[int, list[Spell]], regular: Mapping[int, PriceNow]
) -> Iterator[str]:
    """Listings below their usual price, or whose page strikes a higher one through."""
    for listing in (line.listing for line in cost.lines if line.listing):
        offer = past[listing.id][-1].offer if listing.id in past else None
        if offer is None:
            continue
        usual = regular[listing.id].offer.price if listing.id in regular else offer.price
        if offer.price < max(usual, offer.list_price or usual):
            yield listing.key


def _beside(found: dict[str, Any], other: Mapping[str, Any], key: str, name: str) -> None:
    """Put a figure of another pricing of the same lines beside those of the first."""
    lacking = {row["group"] for row in other["lines"] if row[key] is None}
    for rows in ("lines", "groups"):
        for row, twin in zip(found[rows], other[rows], strict=True):
            row[name] = twin[key]
    for row in found["groups"]:
        row[f"{name}_complete"] = row["group"] not in lacking
    found["totals"] |= {name: other["totals"][key], f"{name}_complete": not lacking}


def _named(found: dict[str, Any], cost: BuildCost, view: PriceView) -> dict[str, Any]:
    shops = {key: shop.name for key, shop in view.suppliers.items()}
    for row, line in zip(found["lines"], cost.lines, strict=True):
        row["supplier"] = shops.get(row["supplier"], row["supplier"])
        row["rate_day"] = line.rate_day.isoformat() if line.rate_day else None
    warnings = [text for text in found["warnings"] if not text.startswith(MASS)]
    return found | {"build": cost.name, "warnings": warnings}
