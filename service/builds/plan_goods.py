"""What an order plan may buy: listings with a price, in the steps in which they are sold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil

from scrapers import Amount, Dimension, UnitError, dimension, to_base
from service.builds import plan_texts as texts
from service.builds.amounts import base_amount, is_running, mass_of, misfit
from service.builds.bodies import bodies_needed, own_bodies
from service.builds.breaks import cost_of
from service.builds.cents import exact_rate, to_cents
from service.builds.choose import short_key
from service.builds.offers import RANK, Market, Quote
from service.builds.plan_wants import Want, Way
from service.builds.row import Row
from service.builds.tax import crosses_customs
from service.model.catalogue import Listing, Part
from service.model.money import quantum

USABLE = RANK["doubtful"]  # better than what cannot be had
Alike = tuple[str, frozenset[str], str, bool, int]  # wants that are filled together


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """An order: at one supplier, sent from one country."""

    supplier: str
    country: str = ""


@dataclass(frozen=True, slots=True)
class Good:
    """A listing as the plan buys it, `step` units of sale at a time.

    `holds`: base units of each part in a step, what else is in the box included. `grams` of a
    step as far as known (`weighed`: of all in it). `groups`: tariff groups with their part of
    the value. `value_rate`: from the page's currency to the supplier's. `net`: from the price
    paid to the value at the border. `least` steps once any is bought.
    """

    quote: Quote
    place: Place
    holds: Mapping[str, Fraction]
    step: Fraction
    least: int
    currency: str
    value_rate: Fraction
    classes: frozenset[str] = frozenset()
    groups: Mapping[str, Fraction] = field(default_factory=dict)
    grams: Fraction = Fraction(0)
    weighed: bool = True
    abroad: bool = False
    net: Fraction = Fraction(1)

    @property
    def listing(self) -> Listing:
        return self.quote.listing

    def units(self, steps: int) -> Fraction:
        """Units of sale."""
        return self.step * steps

    def cents(self, steps: int) -> int:
        """What so many steps cost, in minor units of the build's currency."""
        cost = to_cents(self.quote.cost(self.units(steps)), self.currency)
        return int(cost / quantum(self.currency))

    def value(self, steps: int) -> Fraction:
        """As the shop shows it, in the shop's currency."""
        price = Fraction(self.quote.offer.price)
        return cost_of(price, self.listing.breaks, self.units(steps)) * self.value_rate

    def exact(self, steps: int) -> Fraction:
        """The same unrounded."""
        return self.quote.cost(self.units(steps)) / Fraction(quantum(self.currency))

    def at_border(self, steps: int) -> Fraction:
        """Without tax and markup, in minor units of the build's currency."""
        return self.exact(steps) * self.net


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

    def stall(self) -> Stall:
        plain: list[tuple[int, str, Fraction]] = []
        whole: dict[Alike, list[tuple[int, Way]]] = {}
        why: dict[int, str] = {}
        for number, want in enumerate(self.wants):
            filled = False
            for way in want.ways:
                fitting = self._fitting(want, way)
                if not fitting:
                    continue
                filled = True
                if self._is_whole(want, way, fitting):
                    alone = number if len(want.ways) > 1 else -1
                    key = (way.part.key, frozenset(fitting), want.person, way.cut, alone)
                    whole.setdefault(key, []).append((number, way))
                else:
                    plain.append((number, way.part.key, way.amount))
            if not filled:
                why[number] = self._why(want)
        buckets = tuple(self._bucket(key[1], rows) for key, rows in _sorted(whole))
        goods = tuple(self.goods[key] for key in sorted(self.goods))
        return Stall(goods, tuple(plain), buckets, why)

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


def good_of(quote: Quote, market: Market) -> Good | None:
    """A listing with all that an order of it is judged by. None: no rate to its shop's money."""
    listing, view = quote.listing, market.view
    shop = view.suppliers.get(listing.supplier)
    own = (shop.currency if shop else None) or quote.offer.currency
    rate = exact_rate(view.rates, quote.offer.currency, own)
    if rate is None or any(supply.part not in view.parts for supply in listing.supplies):
        return None
    step = _step(quote)
    supplies = {s.part: market.content(s, view.parts[s.part]) for s in listing.supplies}
    masses = [mass_of(content or Fraction(0), view.parts[key]) for key, content in supplies.items()]
    origin = market.country_of(listing)
    abroad = crosses_customs(origin, view.destination)
    return Good(
        quote=quote,
        place=Place(listing.supplier, origin or ""),
        holds=_holds(listing, supplies, market, step),
        step=step,
        least=_least(quote, step),
        currency=market.currency,
        value_rate=rate[0],
        classes=frozenset(name for key in supplies for name in view.parts[key].classes),
        groups=_groups(listing, market),
        grams=sum((mass for mass in masses if mass is not None), Fraction(0)) * step,
        weighed=None not in masses,
        abroad=abroad,
        net=_net(quote, market),
    )


def _holds(
    listing: Listing, supplies: Mapping[str, Fraction | None], market: Market, step: Fraction
) -> dict[str, Fraction]:
    found: defaultdict[str, Fraction] = defaultdict(Fraction)
    for key, content in supplies.items():
        found[key] += (content or Fraction(0)) * step
    for extra in listing.includes:
        part = market.view.parts.get(extra.part)
        content = market.content(extra, part) if part else None
        if content:
            found[extra.part] += content * step
    return dict(found)


def _step(quote: Quote) -> Fraction:
    """Units of sale in one step: 1, or the part of one that the listing is sold by."""
    step = _base(quote.listing.step, quote)
    return step / quote.content if step else Fraction(1)


def _least(quote: Quote, step: Fraction) -> int:
    return max(1, ceil(_base(quote.listing.least, quote) / quote.content / step))


def _base(amount: Amount | None, quote: Quote) -> Fraction:
    """A least amount or step in base units; a bare count means units of sale."""
    if amount is None:
        return Fraction(0)
    try:
        return base_amount(amount, quote.part)
    except UnitError:
        if dimension(amount.unit) is not Dimension.COUNT:
            raise
        return Fraction(to_base(amount)) * quote.content


def _groups(listing: Listing, market: Market) -> dict[str, Fraction]:
    """Tariff groups with their part of the value; a part without one is its own."""
    found: defaultdict[str, Fraction] = defaultdict(Fraction)
    for supply in listing.supplies:
        group = market.view.parts[supply.part].tariff_group or f"of {supply.part}"
        found[group] += Fraction(supply.split or Fraction(1, len(listing.supplies)))
    return dict(found)


def _net(quote: Quote, market: Market) -> Fraction:
    """The tax of the destination and the markup of paying taken out of the price."""
    return 1 / market.markup(quote.offer.currency) / (1 + Fraction(quote.tax) / 100)


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
