"""All saved builds repriced at once, and again after one listing changed.

Of each build the lines that plain listings fill go into arrays, in which all builds of a
currency and destination stand together. Its odd lines (sets, price breaks, boxes, cut lists,
requirements, alternatives, fixed listings) are priced one by one as a small build of their
own, again only where one of their listings moves. Both add up to the cents of `price_build`,
since a line and what hangs together with it are never divided. Supplies and labour are added
to the sums.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from service.builds.amounts import check_line_fits, misfit
from service.builds.bulk import Bulk, Total
from service.builds.cost import line_sums
from service.builds.labour import labour_line
from service.builds.lines import supplies_in, supplies_sum
from service.builds.mixes import whole_build
from service.builds.offers import Market
from service.builds.view import PriceView, Supplies
from service.builds.ways import ways_of
from service.model.builds import Build, Line
from service.model.catalogue import Listing
from service.model.money import quantum
from service.model.prices import PriceNow

Place = tuple[str, str | None]  # currency and destination


@dataclass(slots=True)
class _Parts:
    """A build's lines apart: plain ones in arrays, odd ones alone, and what both add to."""

    place: Place
    plain: Build
    odd: Build
    work: int = 0  # minor units of labour in the share
    supplies: Supplies | None = None
    total: Total = field(default_factory=lambda: Total(0, 0, complete=True))  # of the odd lines


@dataclass(slots=True)
class AllCosts:
    """Every build at one time: plain lines by arrays, odd ones one by one."""

    views: Mapping[str | None, PriceView]  # by destination, all of the same prices
    prices: dict[int, PriceNow]  # those of the views, kept up to date
    parts: Mapping[str, _Parts]
    arrays: list[Bulk]
    uses: Mapping[int, list[str]]  # by listing: builds whose odd lines it concerns

    @property
    def view(self) -> PriceView:
        """The view that everything was asked for."""
        return self.views[None]

    @property
    def odd(self) -> bool:
        """Whether any line is priced one by one."""
        return any(mine.odd.lines for mine in self.parts.values())

    def totals(self) -> dict[str, Total]:
        """Every build's totals by its key."""
        plain = {key: total for bulk in self.arrays for key, total in bulk.totals().items()}
        for bulk in self.arrays:
            plain |= {key: self.alone(key, self.parts[key].plain) for key in bulk.tied()}
        return {key: _sum(mine, plain.get(key)) for key, mine in self.parts.items()}

    def change(self, now: PriceNow) -> list[str]:
        """Take in a new price; only builds that use the listing are looked at."""
        self.prices[now.listing] = now
        touched = [key for bulk in self.arrays for key in bulk.change(now)]
        odd = self.uses.get(now.listing, ())
        for key in odd:
            self.parts[key].total = self.alone(key, self.parts[key].odd)
        return [*touched, *odd]

    def alone(self, key: str, build: Build) -> Total:
        """Price lines one by one from the prices of now, whatever a market has kept."""
        currency, destination = self.parts[key].place
        market = Market(self.views[destination], currency)
        found, step = line_sums(build, market, self.parts[key].supplies), quantum(currency)
        return Total(int(found.share / step), int(found.to_spend / step), found.complete)


def _sum(mine: _Parts, plain: Total | None) -> Total:
    share, spend, complete = mine.total.share, mine.total.to_spend, mine.total.complete
    if plain is not None:
        share, spend = share + plain.share, spend + plain.to_spend
        complete = complete and plain.complete
    if mine.supplies is not None:
        step = quantum(mine.place[0])
        share += int(supplies_sum(share * step, mine.supplies, mine.place[0]) / step)
    return Total(share + mine.work, spend, complete)


def price_all(builds: Iterable[Build], view: PriceView) -> AllCosts:
    """Reprice all builds; the answer keeps what it worked out for the next change."""
    prices = dict(view.prices)
    view = replace(view, prices=prices)
    whole = {build.key: whole_build(build, view) for build in builds}
    views = {None: view} | {
        end: replace(view, destination=end)
        for end in {build.destination for build in whole.values()}
        if end is not None
    }
    markets = {
        place: Market(views[place[1]], place[0])
        for place in {(build.currency, build.destination) for build in whole.values()}
    }
    parts = {key: _apart(b, markets[b.currency, b.destination]) for key, b in whole.items()}
    found = AllCosts(views, prices, parts, _arrays(parts, markets), _uses(parts, markets))
    for key, mine in parts.items():
        if mine.odd.lines:
            mine.total = found.alone(key, mine.odd)
    return found


def _arrays(parts: Mapping[str, _Parts], markets: Mapping[Place, Market]) -> list[Bulk]:
    groups: dict[tuple[Place, bool], list[Build]] = defaultdict(list)
    for mine in parts.values():
        if mine.plain.lines:
            groups[mine.place, mine.supplies is not None].append(mine.plain)
    return [
        Bulk(group, markets[place], supplies_apart=apart)
        for (place, apart), group in groups.items()
    ]


def _uses(parts: Mapping[str, _Parts], markets: Mapping[Place, Market]) -> dict[int, list[str]]:
    uses: dict[int, list[str]] = defaultdict(list)
    for key, mine in parts.items():
        for number in _listings_of(mine.odd, markets[mine.place]):
            uses[number].append(key)
    return dict(uses)


def _apart(build: Build, market: Market) -> _Parts:
    """Odd lines, and those of parts that what fills them brings along."""
    odd = [line for line in build.lines if not _is_plain(line, market)]
    bound = {key for line in odd for key in bound_to(line, market)}
    odd_ids = {id(line) for line in odd} | {id(x) for x in build.lines if x.part in bound}
    return _Parts(
        (build.currency, build.destination),
        replace(build, lines=tuple(x for x in build.lines if id(x) not in odd_ids)),
        replace(build, lines=tuple(x for x in build.lines if id(x) in odd_ids)),
        _work(build, market),
        _supplies(build, market),
    )


def _work(build: Build, market: Market) -> int:
    line = labour_line(build, market.view.rates)
    return int((line.share or Decimal(0)) / quantum(build.currency)) if line else 0


def _supplies(build: Build, market: Market) -> Supplies | None:
    if all(line.counts.kind != "stock" for line in build.lines):
        return None
    return supplies_in(market.view.supplies, market.view.rates, build.currency)


def _is_plain(line: Line, market: Market) -> bool:
    part = market.view.parts.get(line.part or "")
    if part is None or line.listing or line.cuts or line.choose or line.counts.kind == "whole":
        return False
    if market.view.rule != "cheapest per unit" or part.key in market.view.choose:
        return False
    if line.longest is not None or check_line_fits(line, None, part):
        return False
    return all(
        _is_plain_listing(entry) and _fits(line, entry, part.key)
        for entry in market.listings(part.key)
    )


def _fits(line: Line, listing: Listing, part: str) -> bool:
    supply = listing.holds(part)
    if line.amount.size is not None and supply is not None and supply.amount.size is not None:
        return False  # rectangles from sheets are cut, not divided
    return supply is not None and misfit(line, supply.amount) is None


def _is_plain_listing(listing: Listing) -> bool:
    special = (listing.breaks, listing.includes, listing.least, listing.step, listing.is_set)
    return not any(special)


def bound_to(line: Line, market: Market) -> set[str]:
    """Parts that could fill the line, what they are mixed of, and what is sold with them."""
    named = {way.part for way in ways_of(line, market)}
    known = market.view.parts
    named |= {mixed for key in named if key in known for mixed in known[key].mix_of}
    sold = [entry for key in named for entry in market.listings(key)]
    return named | {s.part for entry in sold for s in (*entry.supplies, *entry.includes)}


def _listings_of(build: Build, market: Market) -> set[int]:
    """Every listing that the lines' cost may depend on, those of parts of sets included."""
    bound = {key for line in build.lines for key in bound_to(line, market)}
    return {entry.id for key in bound for entry in market.listings(key)}
