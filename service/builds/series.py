"""What a build cost over time: only what a new price or rate touches is priced again.

Lines that share a part, a set or a box are priced together (an island); the total is the
sum of the islands' shown cents, so that the last point equals `price_build`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from service.builds.cost import line_sums, replace_destination
from service.builds.labour import labour_line, without_labour
from service.builds.lines import supplies_in, supplies_sum
from service.builds.mixes import whole_build
from service.builds.offers import Market
from service.builds.requirements import parts_meeting
from service.builds.tax import taxes_of
from service.builds.view import PriceView, Supplies
from service.model.builds import Build, Line
from service.model.catalogue import Listing
from service.model.money import Rates
from service.model.prices import PriceNow, Spell, fresh_for


@dataclass(frozen=True, slots=True)
class Point:
    """The build's totals at one time; not `complete`: at least so much."""

    at: datetime
    share: Decimal
    to_spend: Decimal
    complete: bool


@dataclass(slots=True)
class _Island:
    lines: list[Line]
    listings: list[Listing]
    state: object = None
    sums: tuple[Decimal, Decimal, bool] = (Decimal(0), Decimal(0), True)


def cost_series(
    build: Build,
    view: PriceView,
    spells: Iterable[Spell],
    times: Sequence[datetime],
    rates_of: Callable[[datetime], Rates] | None = None,
) -> list[Point]:
    """The build's cost at each of `times` (ascending), from the spells of its listings.

    `view` gives parts, suppliers, listings and settings; its prices are not looked at.
    Nothing is on hand. Times before the first price of any listing are left out.
    """
    whole = whole_build(build, view)
    islands = _islands(without_labour(whole), view)
    past = _Past(spells)
    points = []
    for at in times:
        prices = past.at(at)
        if prices:
            rates = rates_of(at) if rates_of else view.rates
            points.append(_point(whole, islands, replace(view, at=at, rates=rates), prices))
    return points


class _Past:
    """Spells by listing, walked forward in time."""

    def __init__(self, spells: Iterable[Spell]) -> None:
        self.spells: dict[int, list[Spell]] = defaultdict(list)
        for spell in sorted(spells, key=lambda s: s.first_seen):
            self.spells[spell.listing].append(spell)
        self.place = dict.fromkeys(self.spells, -1)

    def at(self, when: datetime) -> dict[int, PriceNow]:
        """What was known of every listing at `when`."""
        found = {}
        for listing, spells in self.spells.items():
            place = self.place[listing]
            while place + 1 < len(spells) and spells[place + 1].first_seen <= when:
                place += 1
            self.place[listing] = place
            if place >= 0:
                spell = spells[place]
                found[listing] = PriceNow(listing, spell.offer, min(spell.last_seen, when))
        return found


def _point(
    build: Build, islands: Sequence[_Island], view: PriceView, prices: Mapping[int, PriceNow]
) -> Point:
    supplies = _supplies(build, view)
    sums = [_sums(island, build, view, prices, supplies) for island in islands]
    share = sum((entry[0] for entry in sums), Decimal(0))
    work = labour_line(build, view.rates)
    if supplies is not None:
        share += supplies_sum(share, supplies, build.currency)
    return Point(
        at=view.at,
        share=share + (work.share or 0 if work else 0),
        to_spend=sum((entry[1] for entry in sums), Decimal(0)),
        complete=all(entry[2] for entry in sums),
    )


def _supplies(build: Build, view: PriceView) -> Supplies | None:
    """Workshop supplies count once beside all islands, where there are any."""
    if all(line.counts.kind != "stock" for line in build.lines):
        return None
    return supplies_in(view.supplies, view.rates, build.currency)


def _sums(
    island: _Island,
    build: Build,
    view: PriceView,
    prices: Mapping[int, PriceNow],
    supplies: Supplies | None,
) -> tuple[Decimal, Decimal, bool]:
    mine = {x.id: prices[x.id] for x in island.listings if x.id in prices}
    state = _state(island, build, view, mine)
    if state != island.state:
        small = replace(build, lines=tuple(island.lines))
        near = replace(
            view, listings=island.listings, prices=mine, on_hand={}, holdings={}, purchases=()
        )
        market = replace_destination(Market(near, build.currency), small)
        totals = line_sums(small, market, supplies)
        island.state = state
        island.sums = (totals.share, totals.to_spend, totals.complete)
    return island.sums


def _state(
    island: _Island, build: Build, view: PriceView, prices: Mapping[int, PriceNow]
) -> object:
    """All that the island's sums depend on: offers, staleness, the rates it needs."""
    facts = []
    for listing in island.listings:
        now = prices.get(listing.id)
        stale = now is not None and view.at - now.seen_at > fresh_for(listing.every)
        facts.append((now.offer if now else None, stale))
    foreign = {now.offer.currency for now in prices.values()} - {build.currency}
    needed = sorted(foreign | {build.currency}) if foreign else []
    rates = tuple(view.rates.by_currency.get(currency) for currency in needed)
    return facts, rates, taxes_of(view.at.date()), view.supplies is None


def _islands(build: Build, view: PriceView) -> list[_Island]:
    """Lines that have to be priced together, with the listings that concern them."""
    links = _Links()
    lines = [(line, _parts_of(line, view)) for line in build.lines]
    for _, parts in lines:
        links.join(parts)
    for listing in view.listings:
        links.join([s.part for s in (*listing.supplies, *listing.includes)])
    found: dict[str, _Island] = {}
    for place, (line, parts) in enumerate(lines):
        root = links.root(parts[0]) if parts else f"line {place}"
        found.setdefault(root, _Island([], [])).lines.append(line)
    for listing in view.listings:
        island = found.get(links.root(listing.supplies[0].part)) if listing.supplies else None
        if island is not None:
            island.listings.append(listing)
    return list(found.values())


class _Links:
    """Which parts hang together (union-find)."""

    def __init__(self) -> None:
        self.above: dict[str, str] = {}

    def root(self, part: str) -> str:
        while self.above.get(part, part) != part:
            part = self.above[part]
        return part

    def join(self, parts: Sequence[str]) -> None:
        for part in parts[1:]:
            self.above[self.root(part)] = self.root(parts[0])


def _parts_of(line: Line, view: PriceView) -> list[str]:
    met = [part.key for part in parts_meeting(view.parts.values(), line.need)] if line.need else []
    named = [*([line.part] if line.part else []), *met, *(way.part for way in line.choose)]
    mixed = [view.parts[key].mix_of for key in named if key in view.parts]
    return list(dict.fromkeys([*named, *(component for mix in mixed for component in mix)]))
