"""All saved builds repriced at once, and again after one listing changed.

What is fixed (which listing could fill which line, how much of a unit of sale a line
uses, how many units it buys) is worked out once, exactly. A price then costs one
multiplication and one rounding a line. Numbers run in float64; where a value stands so
near a half cent that float64 could round it wrongly, it is rounded from fractions. So the
cents are those of `price_build`, for lines that a plain listing fills. Builds with sets,
price breaks, boxes, cut lists, requirements or fixed listings are priced one by one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.builds.amounts import check_line_fits, misfit
from service.builds.cost import BuildCost, price_in
from service.builds.offers import RANK, Market, Quote
from service.builds.rows import Row, make_rows
from service.builds.versions import resolve
from service.builds.view import PriceView
from service.model.builds import Build, Line
from service.model.catalogue import Listing
from service.model.money import quantum
from service.model.prices import PriceNow

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEAR: Final = 1e-5  # of a cent: closer to a half than this is rounded exactly
WORSE: Final = 1e12  # added to a unit price for each rank of usability
NONE: Final = 1e15  # the unit price of a listing without one


@dataclass(frozen=True, slots=True)
class Total:
    """A build's totals in its currency's minor units (cents)."""

    share: int
    to_spend: int
    complete: bool


@dataclass(slots=True)
class _Slot:
    """One listing of one part: its column among the part's candidates, its exact content."""

    listing: Listing
    content: Fraction
    factor: Fraction = Fraction(0)
    price: Fraction | None = None
    rank: int = 0


class Bulk:
    """The builds of one currency that plain listings fill, as arrays.

    Shapes: parts x slots (`unit`, `money`), lines x slots flattened (`use`, `buy`), lines.
    """

    def __init__(self, builds: Sequence[Build], market: Market) -> None:
        self.market, self.keys = market, [build.key for build in builds]
        self._rows = [make_rows(build, market) for build in builds]
        flat = [row for rows in self._rows for row in rows]
        self._parts = list(dict.fromkeys(row.part.key for row in flat if row.part))
        self._at = {key: place for place, key in enumerate(self._parts)}
        self._slots = [self._slots_of(key) for key in self._parts]
        self.wide = max((len(slots) for slots in self._slots), default=1) or 1
        self._of_listing = self._places()
        self._lay_out(flat)
        self._fill_prices()
        self.reprice()

    def _slots_of(self, key: str) -> list[_Slot]:
        part = self.market.view.parts[key]
        found = []
        for listing in self.market.listings(key):
            supply = listing.holds(key)
            content = self.market.content(supply, part) if supply else None
            if content:
                found.append(_Slot(listing, content))
        return sorted(found, key=lambda slot: slot.listing.key)

    def _places(self) -> dict[int, list[tuple[int, int]]]:
        places: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for part, slots in enumerate(self._slots):
            for column, slot in enumerate(slots):
                places[slot.listing.id].append((part, column))
        return places

    def _lay_out(self, flat: Sequence[Row]) -> None:
        """Everything that no price changes: what each line uses and opens of each slot."""
        count, wide = len(flat), self.wide
        self._flat = flat
        self._part = np.array([self._at[r.part.key] for r in flat if r.part], dtype=np.int64)
        self._priced = np.array([not row.owned for row in flat], dtype=bool)
        self._use = np.zeros((count, wide))
        self._buy = np.zeros((count, wide))
        self._step = float(1 / Fraction(quantum(self.market.currency)))
        starts, place = [], 0
        for rows in self._rows:
            starts.append(place)
            self._lay_out_build(rows, place)
            place += len(rows)
        self._starts = np.array(starts, dtype=np.int64)
        self._build = np.repeat(np.arange(len(starts)), np.diff([*starts, count]))
        self._base = np.arange(count, dtype=np.int64) * wide
        self._lines_of: list[Ints] = _grouped(self._part, len(self._parts))
        self._builds_of = [self._build[lines] for lines in self._lines_of]

    def _lay_out_build(self, rows: Sequence[Row], first: int) -> None:
        used: dict[tuple[str, int], tuple[Fraction, Fraction]] = {}
        for place, row in enumerate(rows, first):
            key = row.part.key if row.part else ""
            for column, slot in enumerate(self._slots[self._at[key]]):
                need, opened = used.get((key, column), (Fraction(0), Fraction(0)))
                need += row.to_buy
                reach = Fraction(-(-need // slot.content))
                used[key, column] = need, max(opened, reach)
                self._buy[place, column] = float(max(reach - opened, Fraction(0)))
                self._use[place, column] = float(_used(row) / slot.content)

    def _fill_prices(self) -> None:
        shape = (len(self._parts), self.wide)
        self._unit: Floats = np.full(shape, NONE)
        self._money: Floats = np.zeros(shape)
        for key, slots in zip(self._parts, self._slots, strict=True):
            quotes = {q.listing.id: q for q in self.market.quotes(self.market.view.parts[key])}
            for column, slot in enumerate(slots):
                self._set(self._at[key], column, slot, quotes.get(slot.listing.id))

    def _set(self, part: int, column: int, slot: _Slot, quote: Quote | None) -> None:
        if quote is None:
            slot.price = None
            self._unit[part, column], self._money[part, column] = NONE, 0.0
            return
        slot.price, slot.factor = Fraction(quote.offer.price), quote.factor
        slot.rank = RANK[quote.status]
        money = float(slot.price * slot.factor)
        self._money[part, column] = money * self._step
        self._unit[part, column] = money / float(slot.content) + WORSE * slot.rank

    def reprice(self) -> None:
        """All lines from the present prices."""
        self._best = self._unit.argmin(axis=1)
        rows = np.arange(len(self._parts))
        money = self._money[rows, self._best]
        pick = self._base + self._best[self._part]
        paid = money[self._part]
        self.share = self._cents(self._use.ravel()[pick] * paid, use=True)
        self.spend = self._cents(self._buy.ravel()[pick] * paid, use=False)
        self.share_of = np.add.reduceat(self.share, self._starts)
        self.spend_of = np.add.reduceat(self.spend, self._starts)

    def _cents(self, exact: Floats, *, use: bool) -> Ints:
        """Half up to whole cents; what stands near a half is rounded from fractions."""
        raised = exact + 0.5
        whole = np.floor(raised)
        near = np.flatnonzero(np.abs(raised - whole - 0.5) > 0.5 - NEAR)
        found = whole.astype(np.int64)
        for line in near:
            found[line] = self._exact(int(line), use=use)
        return found

    def _exact(self, line: int, *, use: bool) -> int:
        part = int(self._part[line])
        column = int(self._best[part])
        if column >= len(self._slots[part]):
            return 0
        slot, row = self._slots[part][column], self._flat[line]
        money = (slot.price or Fraction(0)) * slot.factor / Fraction(quantum(self.market.currency))
        count = _used(row) / slot.content if use else Fraction(self._buy[line, column])
        return int(money * count + Fraction(1, 2))

    def change(self, now: PriceNow) -> list[str]:
        """Take in a listing's new price; answers the builds whose totals changed."""
        touched: set[int] = set()
        for part, column in self._of_listing.get(now.listing, ()):
            slot = self._slots[part][column]
            quote = self.market.requote(slot.listing, self._parts[part], now)
            self._set(part, column, slot, quote)
            touched |= self._change_part(part, column)
        return [self.keys[build] for build in sorted(touched)]

    def _change_part(self, part: int, column: int) -> set[int]:
        """Only the lines of the part, and only where the listing that counts is concerned."""
        best = int(self._unit[part].argmin())
        if best != column and best == self._best[part]:
            return set()
        self._best[part] = best
        lines, builds = self._lines_of[part], self._builds_of[part]
        money = self._money[part, best]
        self._put(lines, builds, money, use=True)
        self._put(lines, builds, money, use=False)
        return set(builds.tolist())

    def _put(self, lines: Ints, builds: Ints, money: float, *, use: bool) -> None:
        best = self._best[self._part[lines[0]]]
        counts = (self._use if use else self._buy)[lines, best]
        held, total = (self.share, self.share_of) if use else (self.spend, self.spend_of)
        raised = counts * money + 0.5
        whole = np.floor(raised)
        new = whole.astype(np.int64)
        if (np.abs(raised - whole - 0.5) > 0.5 - NEAR).any():
            new = np.array([self._exact(int(x), use=use) for x in lines], dtype=np.int64)
        np.add.at(total, builds, new - held[lines])
        held[lines] = new

    def totals(self) -> dict[str, Total]:
        """Every build's totals by its key."""
        lacking = (self._unit.min(axis=1)[self._part] >= NONE) & self._priced
        missing = np.add.reduceat(lacking.astype(np.int64), self._starts)
        return {
            key: Total(int(self.share_of[i]), int(self.spend_of[i]), not missing[i])
            for i, key in enumerate(self.keys)
        }

    def tied(self) -> list[str]:
        """Builds in which two listings of a part cost the same a unit, where sizes decide."""
        low = self._unit.min(axis=1, keepdims=True)
        close = (np.abs(self._unit - low) <= 1e-9 * np.abs(low)).sum(axis=1) > 1
        builds = np.unique(self._build[close[self._part]])
        return [self.keys[i] for i in builds]


def _used(row: Row) -> Fraction:
    """What the line's share counts: nothing of tools and of what is owned."""
    kind = row.line.counts.kind
    return Fraction(0) if kind in {"tool", "owned"} else row.need / row.line.counts.among


def _grouped(part: Ints, count: int) -> list[Ints]:
    order = np.argsort(part, kind="stable")
    ends = np.cumsum(np.bincount(part, minlength=count))[:-1]
    return [group.astype(np.int64) for group in np.split(order, ends)]


@dataclass(slots=True)
class AllCosts:
    """Every build at one time: most by arrays, the special ones by `price_build`."""

    view: PriceView
    prices: dict[int, PriceNow]  # those of the view, kept up to date
    builds: dict[str, Build]
    arrays: list[Bulk]
    special: dict[str, BuildCost]
    uses: dict[int, list[str]]

    def totals(self) -> dict[str, Total]:
        """Every build's totals by its key."""
        found = {key: total for bulk in self.arrays for key, total in bulk.totals().items()}
        for bulk in self.arrays:
            for key in bulk.tied():
                market = Market(self.view, self.builds[key].currency)
                found[key] = _total(price_in(self.builds[key], market))
        return found | {key: _total(cost) for key, cost in self.special.items()}

    def change(self, now: PriceNow) -> list[str]:
        """Take in a new price; only builds that use the listing are looked at."""
        touched = [key for bulk in self.arrays for key in bulk.change(now)]
        special = self.uses.get(now.listing, ())
        self.prices[now.listing] = now
        for key in special:
            market = Market(self.view, self.builds[key].currency)
            self.special[key] = price_in(self.builds[key], market)
        return [*touched, *special]


def _total(cost: BuildCost) -> Total:
    step = quantum(cost.currency)
    share, spend = cost.totals.share / step, cost.totals.to_spend / step
    return Total(int(share), int(spend), cost.totals.complete)


def price_all(builds: Iterable[Build], view: PriceView) -> AllCosts:
    """Reprice all builds; the answer keeps what it worked out for the next change."""
    prices = dict(view.prices)
    view = replace(view, prices=prices)
    whole = {build.key: resolve(build, view.builds) for build in builds}
    markets = {b.currency: Market(view, b.currency) for b in whole.values()}
    plain: dict[str, list[Build]] = defaultdict(list)
    special: dict[str, BuildCost] = {}
    uses: dict[int, list[str]] = defaultdict(list)
    for build in whole.values():
        market = markets[build.currency]
        if _is_plain(build, market):
            plain[build.currency].append(build)
            continue
        special[build.key] = price_in(build, market)
        for number in _listings_of(build, market):
            uses[number].append(build.key)
    arrays = [Bulk(group, markets[currency]) for currency, group in plain.items()]
    return AllCosts(view, prices, whole, arrays, special, dict(uses))


def _is_plain(build: Build, market: Market) -> bool:
    if not build.lines or build.destination or market.view.supplies or market.view.choose:
        return False
    return market.view.rule == "cheapest per unit" and all(
        _plain_line(line, market) for line in build.lines
    )


def _plain_line(line: Line, market: Market) -> bool:
    part = market.view.parts.get(line.part or "")
    if part is None or line.listing or line.cuts or line.choose or line.counts.kind == "whole":
        return False
    if check_line_fits(line, None, part):
        return False
    return all(
        _plain_listing(entry) and _fits(line, entry, part.key)
        for entry in market.listings(part.key)
    )


def _fits(line: Line, listing: Listing, part: str) -> bool:
    supply = listing.holds(part)
    if line.amount.size is not None and supply is not None and supply.amount.size is not None:
        return False  # rectangles from sheets are cut, not divided
    return supply is not None and misfit(line, line.amount, supply.amount) is None


def _plain_listing(listing: Listing) -> bool:
    special = (listing.breaks, listing.includes, listing.least, listing.step, listing.is_set)
    return not any(special)


def _listings_of(build: Build, market: Market) -> set[int]:
    """Every listing that the build's cost may depend on, parts of sets included."""
    cost_parts = {key for line in build.lines for key in _parts_of(line, market)}
    found = {entry.id for key in cost_parts for entry in market.listings(key)}
    for key in cost_parts:
        for entry in market.listings(key):
            for supply in entry.supplies:
                found |= {other.id for other in market.listings(supply.part)}
    return found


def _parts_of(line: Line, market: Market) -> set[str]:
    if line.need:
        return set(market.view.parts)
    return {line.part or "", *(way.part for way in line.choose)}
