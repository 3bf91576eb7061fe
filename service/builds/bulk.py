"""Lines that plain listings fill, of many builds, repriced as arrays.

What is fixed (which listing could fill which line, how much of a unit of sale a line
uses, how many units it buys) is worked out once, exactly. A price then costs one
multiplication and one rounding a line. Numbers run in float64; where a value stands so
near a half cent that float64 could round it wrongly, it is rounded from fractions. So the
cents are those of `price_build`. `all_costs` says which lines are plain, and adds the rest.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.builds.offers import RANK, Market, Quote, status_of
from service.builds.row import Row
from service.builds.ways import make_rows
from service.model.builds import Build
from service.model.catalogue import Listing
from service.model.money import quantum
from service.model.prices import Offer, PriceNow

Floats = NDArray[np.float64]
NEAR: Final = 1e-6  # of a cent: closer to a half than this is rounded exactly
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
    """One listing of one part: its exact content, and its price as last seen."""

    listing: Listing
    content: Fraction
    offer: Offer | None = None
    factor: Fraction = Fraction(0)  # from the page's currency to minor units of the build's
    factor_float: float = 0.0
    content_float: float = 1.0


class Bulk:
    """The builds of one currency that plain listings fill, as arrays.

    Lines stand by part, so that the lines of a part are side by side. Every line has
    two counts a slot: units of sale that its share uses, and units that it buys.
    Shapes: `counts` (slots, 2 x lines), `cents` (2 x lines), `total` (2 x builds).
    `supplies_apart`: workshop supplies have no share of their own.
    """

    def __init__(
        self, builds: Sequence[Build], market: Market, *, supplies_apart: bool = False
    ) -> None:
        self.market, self.keys = market, [build.key for build in builds]
        self._unused = {"tool", "owned", *(["stock"] if supplies_apart else [])}
        grouped = [make_rows(build, market) for build in builds]
        self._parts = list(dict.fromkeys(r.part.key for rows in grouped for r in rows if r.part))
        self._slots = [self._slots_of(key) for key in self._parts]
        self._wide = max((len(slots) for slots in self._slots), default=1) or 1
        self._places = self._find_places()
        self._lay_out(grouped)
        self._fill_prices()
        self.reprice()

    def _slots_of(self, key: str) -> list[_Slot]:
        part = self.market.view.parts[key]
        found = []
        for listing in self.market.listings(key):
            supply = listing.holds(key)
            content = self.market.content(supply, part) if supply else None
            if content:
                found.append(_Slot(listing, content, content_float=float(content)))
        return sorted(found, key=lambda slot: slot.listing.key)

    def _find_places(self) -> dict[int, list[tuple[int, int, _Slot]]]:
        places: dict[int, list[tuple[int, int, _Slot]]] = defaultdict(list)
        for part, slots in enumerate(self._slots):
            for column, slot in enumerate(slots):
                places[slot.listing.id].append((part, column, slot))
        return places

    def _lay_out(self, grouped: Sequence[Sequence[Row]]) -> None:
        """Everything that no price changes: what each line uses and opens of each slot."""
        at = {key: place for place, key in enumerate(self._parts)}
        flat = [
            (at[row.part.key], build, row, before)
            for build, rows in enumerate(grouped)
            for row, before in zip(rows, _before(rows), strict=True)
            if row.part
        ]
        flat.sort(key=lambda entry: entry[0])
        self._rows = [entry[2] for entry in flat]
        self._earlier = [entry[3] for entry in flat]
        self._part = np.array([entry[0] for entry in flat], dtype=np.int64)
        self._build = np.array([entry[1] for entry in flat], dtype=np.int64)
        self._priced = np.array([not row.owned for row in self._rows], dtype=bool)
        self._count_units()
        self._index(len(grouped))

    def _count_units(self) -> None:
        lines = len(self._rows)
        counts = [[0.0] * (2 * lines) for _ in range(self._wide)]
        for place, row in enumerate(self._rows):
            used, before, to_buy = self._used(row), self._earlier[place], row.to_buy
            for column, slot in enumerate(self._slots[self._part[place]]):
                counts[column][place] = float(used / slot.content)
                counts[column][lines + place] = _opened(before, to_buy, slot.content)
        self._counts: Floats = np.array(counts)

    def _index(self, builds: int) -> None:
        lines = len(self._rows)
        place = np.arange(2 * lines, dtype=np.int64)
        self._place, self._part_twice = place, np.tile(self._part, 2)
        target = np.concatenate([self._build, self._build + builds])
        self._order = np.argsort(target, kind="stable")
        self._starts = np.searchsorted(target[self._order], np.arange(2 * builds))
        self._spans = np.searchsorted(self._part, np.arange(len(self._parts) + 1)).tolist()
        self._blocks = []
        for start, end in pairwise(self._spans):
            here = np.concatenate([place[start:end], place[lines + start : lines + end]])
            touched = target[here]
            alone = len(np.unique(touched)) == len(touched)
            names = [self.keys[k] for k in np.unique(self._build[start:end])]
            self._blocks.append((here, self._counts[:, here], touched, alone, names))

    def _fill_prices(self) -> None:
        shape = (len(self._parts), self._wide)
        self._unit: Floats = np.full(shape, NONE)
        self._money: Floats = np.zeros(shape)
        for place, (key, slots) in enumerate(zip(self._parts, self._slots, strict=True)):
            quotes = {q.listing.id: q for q in self.market.quotes(self.market.view.parts[key])}
            for column, slot in enumerate(slots):
                quote = quotes.get(slot.listing.id)
                if quote is not None:
                    self._quote(slot, quote)
                    self._set(place, column, slot, RANK[quote.status])

    def _quote(self, slot: _Slot, quote: Quote) -> None:
        slot.offer = quote.offer
        slot.factor = quote.factor / Fraction(quantum(self.market.currency))
        slot.factor_float = float(slot.factor)

    def _set(self, part: int, column: int, slot: _Slot, rank: int) -> None:
        money = float(slot.offer.price) * slot.factor_float if slot.offer else 0.0
        self._money[part, column] = money
        self._unit[part, column] = money / slot.content_float + WORSE * rank

    def _used(self, row: Row) -> Fraction:
        """What the line's share counts: nothing of tools and of what is owned."""
        counts = row.line.counts
        return Fraction(0) if counts.kind in self._unused else row.need / counts.among

    def reprice(self) -> None:
        """All lines from the present prices."""
        self._best = self._unit.argmin(axis=1)
        rows = np.arange(len(self._parts))
        money = self._money[rows, self._best]
        pick = self._best[self._part_twice]
        pick *= len(self._place)
        pick += self._place
        raised = self._counts.ravel()[pick]
        raised *= money[self._part_twice]
        raised += 0.5 + NEAR
        whole = np.floor(raised)
        raised -= whole
        self.cents = whole.astype(np.int64)
        for place in np.flatnonzero(raised < 2 * NEAR).tolist():
            self.cents[place] = self._exact(place)
        self.total = np.add.reduceat(self.cents[self._order], self._starts)

    def _exact(self, place: int) -> int:
        """Half up from exact fractions: only where float64 stands too near a half."""
        lines = len(self._rows)
        line = place % lines
        part = int(self._part[line])
        column = int(self._best[part])
        if column >= len(self._slots[part]):
            return 0
        slot = self._slots[part][column]
        price = Fraction(slot.offer.price) if slot.offer else Fraction(0)
        if place < lines:
            used = self._used(self._rows[line])
            top = price.numerator * slot.factor.numerator * used.numerator
            low = price.denominator * slot.factor.denominator * used.denominator
            top, low = top * slot.content.denominator, low * slot.content.numerator
        else:
            top = price.numerator * slot.factor.numerator * int(self._counts[column, place])
            low = price.denominator * slot.factor.denominator
        return (2 * top + low) // (2 * low)

    def change(self, now: PriceNow) -> list[str]:
        """Take in a listing's new price; answers the builds whose lines it may concern."""
        touched: list[str] = []
        for part, column, slot in self._places.get(now.listing, ()):
            offer, known = now.offer, slot.offer
            if known is None or offer.currency != known.currency or offer.tax is not known.tax:
                quote = self.market.requote(slot.listing, self._parts[part], now)
                if quote is None:
                    continue
                self._quote(slot, quote)
            slot.offer = offer
            self._set(part, column, slot, RANK[status_of(now, slot.listing, self.market.view)])
            touched += self._change_part(part, column)
        return touched

    def _change_part(self, part: int, column: int) -> list[str]:
        """Only the lines of the part, and only where the listing that counts is concerned."""
        best = int(self._unit[part].argmin())
        if best != column and best == self._best[part]:
            return []
        self._best[part] = best
        here, counts, target, alone, names = self._blocks[part]
        raised = counts[best] * self._money[part, best]
        raised += 0.5 + NEAR
        whole = np.floor(raised)
        new = whole.astype(np.int64)
        raised -= whole
        for place in np.flatnonzero(raised < 2 * NEAR).tolist():
            new[place] = self._exact(int(here[place]))
        delta = new - self.cents[here]
        self.cents[here] = new
        if alone:
            self.total[target] += delta
        else:
            np.add.at(self.total, target, delta)
        return names

    def totals(self) -> dict[str, Total]:
        """Every build's totals by its key."""
        lacking = (self._unit.min(axis=1)[self._part] >= NONE) & self._priced
        missing = np.bincount(self._build, weights=lacking, minlength=len(self.keys))
        count = len(self.keys)
        return {
            key: Total(int(self.total[i]), int(self.total[count + i]), not missing[i])
            for i, key in enumerate(self.keys)
        }

    def tied(self) -> list[str]:
        """Builds in which two listings of a part cost the same a unit, where sizes decide."""
        low = self._unit.min(axis=1, keepdims=True)
        close = (np.abs(self._unit - low) <= 1e-9 * np.abs(low)).sum(axis=1) > 1
        builds = np.unique(self._build[close[self._part]])
        return [self.keys[i] for i in builds]


def _opened(before: Fraction, to_buy: Fraction, content: Fraction) -> int:
    """Whole units that a line is the first of its build to need."""
    if not to_buy:
        return 0
    return ceil((before + to_buy) / content) - (ceil(before / content) if before else 0)


def _before(rows: Sequence[Row]) -> list[Fraction]:
    """What the lines of the same part further up the list still have to buy."""
    sums: dict[str, Fraction] = {}
    found = []
    for row in rows:
        key = row.part.key if row.part else ""
        found.append(sums.get(key, Fraction(0)))
        sums[key] = found[-1] + row.to_buy
    return found
