"""The index of a build: what its basket cost over time, and which line moved it.

Prices are the shares that `reprice` would show, at each time's own prices and exchange rates,
with nothing on hand. Where the build was edited the index is linked, as
`service/prices/index.py` says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any
from zoneinfo import ZoneInfo

from service.builds.cost import price_build
from service.builds.view import PriceView
from service.errors import InputError
from service.flows.editions import Basket, Made, as_build, editions, goods_of, part_of
from service.flows.load import price_view
from service.flows.names import first_instant, need_build
from service.flows.ports import Deps, Unit
from service.model.builds import Build
from service.model.money import money_text, round_money
from service.model.times import time_text
from service.prices import formulas
from service.prices.index import Change, Edition, Point, Quote, change_words, compare, linked

YEAR = timedelta(days=365)
POINTS = 13
TRUSTED = ("priced", "owned")
FOURTH = Decimal("0.0001")
Prices = tuple[datetime, Mapping[str, Quote]]


def index(deps: Deps, key: str, since: str | None = None) -> dict[str, Any]:
    """The JSON object of `ebbmark index`. NotFoundError; InputError for a day that is none.

    `since`: a day or a time; a year ago without it, and never before the first price. `index`
    and `formulas` are ratios (1 = unchanged), `points` of a contribution percent of the cost
    then; contributions are of the basket as it is now and add up to `change` exactly.
    """
    at = deps.clock()
    start = first_instant(since, deps.time_zone) if since else at - YEAR
    if start >= at:
        raise InputError(f'"{since}" is not in the past: give an earlier day')
    with deps.store.read() as unit:
        build = need_build(unit, key)
        return _Course(unit, deps, build, start, at).answer()


@dataclass(slots=True)
class _Course:
    unit: Unit
    deps: Deps
    build: Build
    start: datetime
    at: datetime

    def answer(self) -> dict[str, Any]:
        now = self._view(self.at)
        made = _from_the_start(editions(self.unit, self.build, now), self.start)
        prices = list(self._prices(made))
        return _answer(self.build, made, prices, now, ZoneInfo(self.deps.time_zone))

    def _view(self, at: datetime) -> PriceView:
        view = price_view(self.unit, self.deps, at)
        return replace(view, on_hand={}, purchases=())

    def _prices(self, made: Sequence[Made]) -> Iterator[Prices]:
        """Quotes at evenly spaced times and where the build was edited; none before the first."""
        listings = self._listings(made)
        step = (self.at - self.start) / (POINTS - 1)
        times = {self.start + step * number for number in range(POINTS - 1)} | {self.at}
        begun = False
        for at in sorted(times | {one.since for one in made if one.since > self.start}):
            view = price_view(self.unit, self.deps, at, listings)
            view = replace(view, on_hand={}, purchases=())
            quotes: dict[str, Quote] = {}
            for one in _near(made, at):
                quotes |= _quotes(self.build, one.basket, view)
            begun = begun or bool(quotes)
            if begun:
                yield at, quotes

    def _listings(self, made: Sequence[Made]) -> list[Any]:
        parts = {row[0] for one in made for row in one.basket}
        return [x for x in self.unit.catalogue.listings() if any(x.holds(p) for p in parts)]


def _from_the_start(made: Sequence[Made], start: datetime) -> list[Made]:
    """The first edition that is known counts for the time before, too."""
    late = [one for one in made if one.since > start]
    early = [one for one in made if one.since <= start][-1:]
    first = early or late[:1]
    rest = late if early else late[1:]
    return [replace(first[0], since=start), *rest]


def _near(made: Sequence[Made], at: datetime) -> list[Made]:
    """The edition in force and the one before it, which is priced once more where it ends."""
    begun = [one for one in made if one.since <= at]
    return begun[-2:]


def _quotes(build: Build, basket: Basket, view: PriceView) -> dict[str, Quote]:
    """The price of one unit of all goods that have any."""
    shares: dict[str, tuple[Decimal, Decimal, bool]] = {}
    for line in price_build(as_build(build, basket), view).lines:
        if line.place is None or line.share is None:
            continue
        name, quantity = goods_of(basket[line.place])
        cost, amount, stale = shares.get(name, (Decimal(0), Decimal(0), False))
        stale = stale or line.status not in TRUSTED
        shares[name] = (cost + line.share, amount + quantity, stale)
    return {name: Quote(cost / amount, stale) for name, (cost, amount, stale) in shares.items()}


def _name(part: str, view: PriceView) -> str:
    return view.parts[part].name if part in view.parts else part


def _quantities(one: Made) -> dict[str, Decimal]:
    amounts: dict[str, Decimal] = {}
    for name, quantity in map(goods_of, one.basket):
        amounts[name] = amounts.get(name, Decimal(0)) + quantity
    return amounts


def _answer(
    build: Build, made: Sequence[Made], prices: Sequence[Prices], now: PriceView, zone: ZoneInfo
) -> dict[str, Any]:
    every = {name for one in made for name in _quantities(one)}
    names = {name: _name(part_of(name), now) for name in every}
    points = linked([Edition(one.since, _quantities(one)) for one in made], prices)
    basket = _quantities(made[-1])
    earliest = {k: q for _, quotes in reversed(prices) for k, q in quotes.items()}
    then = earliest if not prices else {**earliest, **prices[0][1]}
    latest = _carried(prices)
    change = compare(basket, then, latest)
    return {
        "build": build.key,
        "name": build.name,
        "currency": build.currency,
        "from": time_text(points[0].at) if points else None,
        "to": time_text(now.at),
        "index": _ratio(points[-1].index) if points else None,
        **_change_json(change, build.currency, names),
        "words": _words(change, build.currency, points, now.at, names, zone),
        "edited": [time_text(one.since) for one in made[1:]],
        "points": [_point(point, build.currency) for point in points],
        "formulas": _formulas(_quantities(made[0]), basket, then, latest),
    }


def _carried(prices: Sequence[Prices]) -> dict[str, Quote]:
    """The last price of each part, marked where it is not of the last time."""
    last: dict[str, Quote] = {}
    for _, quotes in prices:
        last = {key: Quote(quote.price, stale=True) for key, quote in last.items()} | dict(quotes)
    return last


def _change_json(change: Change, currency: str, names: Mapping[str, str]) -> dict[str, Any]:
    def text(amount: Decimal) -> str:
        return money_text(round_money(amount, currency), currency)

    return {
        "then": text(change.before),
        "now": text(change.after),
        "change": text(round_money(change.after, currency) - round_money(change.before, currency)),
        "contributions": [
            {
                "part": part_of(entry.line),
                "name": names[entry.line],
                "change": text(entry.change),
                "points": f"{entry.points.quantize(Decimal('0.01'), ROUND_HALF_UP):f}",
            }
            for entry in change.contributions
        ],
        "carried": _parts(change.carried),
        "missing": _parts(change.missing),
    }


def _parts(goods: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(map(part_of, goods)))


def _words(
    change: Change,
    currency: str,
    points: Sequence[Point[datetime]],
    at: datetime,
    names: Mapping[str, str],
    zone: ZoneInfo,
) -> str:
    if not points or not change.before:
        return "no price was seen yet"
    day, today = points[0].at.astimezone(zone), at.astimezone(zone)
    month = f"{day:%B}" if day.year == today.year else f"{day:%B %Y}"
    same = (day.year, day.month) == (today.year, today.month)
    then = f"on {day:%d %B}" if same else f"in {month}"
    return change_words(change, currency, then, names)


def _point(point: Point[datetime], currency: str) -> dict[str, Any]:
    return {
        "at": time_text(point.at),
        "cost": money_text(round_money(point.cost, currency), currency),
        "index": _ratio(point.index),
        "carried": _parts(point.carried),
        "missing": _parts(point.missing),
    }


def _ratio(value: Decimal | None) -> str | None:
    return None if value is None else f"{value.quantize(FOURTH, ROUND_HALF_UP):f}"


def _formulas(
    first: Mapping[str, Decimal],
    last: Mapping[str, Decimal],
    then: Mapping[str, Quote],
    now: Mapping[str, Quote],
) -> dict[str, str | None]:
    """From the first time to the last over the parts that have both prices, in either basket."""
    parts = [key for key in {**first, **last} if key in then and key in now]
    p0, pt = ([float(quotes[key].price) for key in parts] for quotes in (then, now))
    q0, qt = ([float(basket.get(key, 0)) for key in parts] for basket in (first, last))
    asked: dict[str, Callable[[], float]] = {
        "lowe": lambda: formulas.lowe(p0, pt, qt),
        "laspeyres": lambda: formulas.laspeyres(p0, pt, q0, qt),
        "paasche": lambda: formulas.paasche(p0, pt, q0, qt),
        "fisher": lambda: formulas.fisher(p0, pt, q0, qt),
        "jevons": lambda: formulas.jevons(p0, pt),
    }
    return {name: _number(formula) for name, formula in asked.items()}


def _number(formula: Callable[[], float]) -> str | None:
    """None where there is nothing to compare."""
    try:
        return _ratio(Decimal(repr(formula())))
    except (ValueError, ZeroDivisionError):
        return None
