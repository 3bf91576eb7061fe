"""What an order plan may choose from: which goods fill which wants, alone or together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from service.builds import plan_texts as texts
from service.builds.amounts import is_running, misfit
from service.builds.bodies import bodies_needed, own_bodies
from service.builds.choose import short_key
from service.builds.offers import RANK, Market, Quote
from service.builds.plan_goods import Good, good_of
from service.builds.plan_wants import Want, Way
from service.builds.row import Row
from service.model.catalogue import Part

USABLE = RANK["doubtful"]  # better than what cannot be had
Alike = tuple[str, frozenset[str], str, bool, int]  # wants that are filled together


@dataclass(frozen=True, slots=True)
class Bucket:
    """Wants of one part that one listing has to fill alone, because pieces must be whole or
    the user fixed it. `amount` in base units; `steps`: by listing, how many that takes.
    """

    part: str
    wants: tuple[int, ...]
    amount: Fraction
    steps: Mapping[str, int]
    notes: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Stall:
    """All that may be bought. `plain` by want and part: base units that any listings may fill;
    `why`: of wants that nothing fills.
    """

    goods: tuple[Good, ...]
    plain: tuple[tuple[int, str, Fraction], ...]
    buckets: tuple[Bucket, ...]
    why: Mapping[int, str]


def stall_of(wants: Sequence[Want], market: Market) -> Stall:
    """Every good that serves a want, in an order that depends on nothing but their names."""
    return _Finder(wants, market).stall()


class _Finder:
    def __init__(self, wants: Sequence[Want], market: Market) -> None:
        self.wants, self.market = wants, market
        self.quotes: dict[str, list[Quote]] = {}
        self.goods: dict[str, Good] = {}
        self.plain: list[tuple[int, str, Fraction]] = []
        self.whole: dict[Alike, list[tuple[int, Way]]] = {}

    def stall(self) -> Stall:
        why = {n: self._why(want) for n, want in enumerate(self.wants) if not self._fill(n, want)}
        buckets = tuple(self._bucket(key[1], rows) for key, rows in _sorted(self.whole))
        goods = tuple(self.goods[key] for key in sorted(self.goods))
        return Stall(goods, tuple(self.plain), buckets, why)

    def _fill(self, number: int, want: Want) -> bool:
        """Note the ways that something fills; False: nothing fills the want."""
        found = [(way, fit) for way in want.ways if (fit := self._fitting(want, way))]
        for way, fitting in found:
            if self._is_whole(want, way, fitting):
                alone = number if len(want.ways) > 1 else -1
                key = (way.part.key, frozenset(fitting), want.person, way.cut, alone)
                self.whole.setdefault(key, []).append((number, way))
            else:
                self.plain.append((number, way.part.key, way.amount))
        return bool(found)

    def _usable(self, part: Part) -> list[Quote]:
        """The quotes of the best standing that there is: fresh ones, else old, else doubtful."""
        if part.key not in self.quotes:
            known = [q for q in self.market.quotes(part) if RANK[q.status] <= USABLE]
            best = min((RANK[q.status] for q in known), default=0)
            found = [q for q in known if RANK[q.status] == best]
            self.quotes[part.key] = [q for q in found if self._good(q) is not None]
        return self.quotes[part.key]

    def _fitting(self, want: Want, way: Way) -> list[str]:
        """Listings that may fill the want with this part."""
        quotes = self._usable(way.part)
        line = want.line
        if line is None:
            return [q.listing.key for q in quotes]
        if line.listing:
            names = (line.listing,)
            quotes = [q for q in quotes if {q.listing.key, q.listing.url, short_key(q)} & {*names}]
        fit = [q for q in quotes if not misfit(line, q.sold_as, running=is_running(q.listing))]
        return [q.listing.key for q in fit]

    def _is_whole(self, want: Want, way: Way, fitting: Sequence[str]) -> bool:
        if want.line is None:
            return False
        return way.cut or len(fitting) < len(self._usable(way.part))

    def _bucket(self, listings: frozenset[str], found: Sequence[tuple[int, Way]]) -> Bucket:
        part = found[0][1].part
        steps, notes = {}, {}
        for quote in self._usable(part):
            key = quote.listing.key
            if key in listings:
                units, notes[key] = self._cut(found, quote)
                steps[key] = ceil(units / self.goods[key].step)
        amount = sum((way.amount for _, way in found), Fraction(0))
        return Bucket(part.key, tuple(number for number, _ in found), amount, steps, notes)

    def _cut(self, found: Sequence[tuple[int, Way]], quote: Quote) -> tuple[Fraction, str]:
        """Units of sale for these wants alone, and what the cutting plan says."""
        need = sum((way.amount for _, way in found), Fraction(0))
        rows = [way.row for _, way in found if way.row is not None]
        person = self.wants[found[0][0]].person
        own = () if person else own_bodies(self._rows_of(quote.part.key), quote, self.market)
        plan = bodies_needed(rows, quote, own, still=True)
        return max(quote.units(need), plan.units), plan.note

    def _rows_of(self, part: str) -> list[Row]:
        """All rows of the user's own builds that take the part."""
        mine = [want for want in self.wants if not want.person]
        ways = [way for want in mine for way in want.ways if way.part.key == part]
        return [way.row for way in ways if way.row is not None]

    def _why(self, want: Want) -> str:
        """Why nothing fills the want, of the way that comes nearest."""
        if want.line is not None and want.line.listing:
            return texts.NOT_FIXED.format(listing=want.line.listing)
        known = [quote for way in want.ways for quote in self.market.quotes(way.part)]
        if any(RANK[quote.status] <= USABLE for quote in known):
            return texts.NO_FIT
        if known:
            shops = ", ".join(dict.fromkeys(quote.listing.supplier for quote in known))
            return texts.OUT_OF_STOCK.format(suppliers=shops)
        listed = any(self.market.listings(way.part.key) for way in want.ways)
        return texts.NO_PRICE if listed else texts.NO_LISTING

    def _good(self, quote: Quote) -> Good | None:
        """The listing as a good; None where its shop's currency cannot be told in the page's."""
        key = quote.listing.key
        if key not in self.goods:
            made = good_of(quote, self.market)
            if made is None:
                return None
            self.goods[key] = made
        return self.goods[key]


def _sorted(
    found: Mapping[Alike, list[tuple[int, Way]]],
) -> list[tuple[Alike, list[tuple[int, Way]]]]:
    """By part, listings and first want."""
    return sorted(found.items(), key=lambda item: (item[0][0], sorted(item[0][1]), item[1][0][0]))


def demand(stall: Stall) -> dict[str, Fraction]:
    """By part the most that plain wants can ask for."""
    found: defaultdict[str, Fraction] = defaultdict(Fraction)
    for _, part, amount in stall.plain:
        found[part] += amount
    return dict(found)


def most_needed(good: Good, asked: Mapping[str, Fraction], buckets: Iterable[Bucket]) -> int:
    """Steps beyond which no want needs more."""
    plain = max(
        (ceil(asked.get(part, Fraction(0)) / held) for part, held in good.holds.items() if held),
        default=0,
    )
    whole = sum(bucket.steps.get(good.listing.key, 0) for bucket in buckets)
    return max(good.least, plain + whole)
