"""Plain facts beside an advice: the same weeks of earlier years, and sales of a whole shop."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from calendar import month_name, monthrange
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import Decimal
from typing import TYPE_CHECKING

from service.prices.sales import Sale, find_sales
from service.prices.track import DAY_US, MICROSECOND, Track, from_us, runs_of, to_us

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

ANNIVERSARY = 10  # days by which a sale of another year may begin earlier or later
SHOP_WIDE = (1, 3)  # a third or more of a supplier's listings ...
WITHIN = timedelta(days=2)  # ... falling within two days
FEWEST = 3  # listings; two that fall together are no sale of a shop
ORDINALS = ("first", "second", "third", "fourth")


@dataclass(frozen=True, slots=True)
class SameWeeks:
    """The lowest price seen in the same weeks of an earlier year."""

    year: int
    start: date
    end: date
    low: Decimal
    below_regular: Decimal  # 0..1, of the regular price at that time; 0: not on sale


@dataclass(frozen=True, slots=True)
class Yearly:
    """Sales that came in several years at about the same time. `depth`: 0..1, the middle one."""

    begins: date  # where most of them began
    years: tuple[int, ...]
    watched_years: int
    depth: Decimal
    cheapest: bool  # no price in the watched time was lower than in that week


@dataclass(frozen=True, slots=True)
class ShopSale:
    """Days on which much of a shop fell. `fell` of `listings` watched then; `depth`: 0..1."""

    start: datetime
    end: datetime
    fell: int
    listings: int
    depth: Decimal


def same_weeks(track: Track, *, weeks: int = 4, zone: tzinfo = UTC) -> list[SameWeeks]:
    """What the coming `weeks` brought in each earlier year that was watched, newest first."""
    today = from_us(track.at).astimezone(zone).date()
    found = []
    for back in range(1, today.year - 1970):
        start = _years_back(today, back)
        low, high = (_midnight(day, zone) for day in (start, start + timedelta(weeks=weeks)))
        if not track.pieces or high <= track.pieces[0].start:
            break
        fact = _lowest_between(track, low, high)
        if fact:
            end = start + timedelta(weeks=weeks)
            found.append(SameWeeks(start.year, start, end, *fact))
    return found


def _years_back(day: date, years: int) -> date:
    leap = day.month == 2 and day.day == 29
    return day.replace(year=day.year - years, day=28 if leap else day.day)


def _midnight(day: date, zone: tzinfo) -> int:
    return to_us(datetime(day.year, day.month, day.day, tzinfo=zone))


def _lowest_between(track: Track, low: int, high: int) -> tuple[Decimal, Decimal] | None:
    seen = [piece for piece in track.since(low) if piece.start < high]
    if not seen:
        return None
    cheapest = min(seen, key=lambda piece: piece.price)
    runs = [run for run in runs_of(track) if run.start <= cheapest.start]
    regular, _ = find_sales(runs, at=cheapest.start)
    if regular is None or regular <= cheapest.price:
        return cheapest.price, Decimal(0)
    return cheapest.price, 1 - cheapest.price / regular


def yearly_sale(track: Track, *, zone: tzinfo = UTC) -> Yearly | None:
    """The sale that came back in most years, the deepest of them; None: none came twice."""
    _, sales = find_sales(runs_of(track), at=track.at)
    real = [sale for sale in sales if sale.how != "settled"]
    groups = [_anniversaries(sale, real, zone) for sale in real]
    repeated = [group for group in groups if len(group) > 1]
    if not repeated:
        return None
    best = max(repeated, key=lambda group: (len(group), _middle_depth(group)))
    return _yearly(best, track, zone)


def _anniversaries(anchor: Sale, sales: Sequence[Sale], zone: tzinfo) -> list[Sale]:
    """One sale a year, the deepest, that began within some days of the anchor's date."""
    day = _day(anchor, zone)
    by_year: dict[int, Sale] = {}
    for sale in sales:
        other = _day(sale, zone)
        years = round((other - day).days / 365.2425)
        off = abs((other - day).days - round(years * 365.2425))
        if off <= ANNIVERSARY and (years not in by_year or sale.depth > by_year[years].depth):
            by_year[years] = sale
    return [by_year[year] for year in sorted(by_year)]


def _day(sale: Sale, zone: tzinfo) -> date:
    return from_us(sale.start).astimezone(zone).date()


def _middle_depth(group: Sequence[Sale]) -> Decimal:
    return sorted(sale.depth for sale in group)[(len(group) - 1) // 2]


def _yearly(group: Sequence[Sale], track: Track, zone: tzinfo) -> Yearly:
    lowest = min(piece.price for piece in track.pieces)
    span = track.at - track.pieces[0].start
    begins = _usual_day([_day(sale, zone) for sale in group])
    then = [s for s in group if week_words(_day(s, zone)) == week_words(begins)]
    return Yearly(
        begins=begins,
        years=tuple(_day(sale, zone).year for sale in group),
        watched_years=max(1, round(span / (365.2425 * DAY_US))),
        depth=_middle_depth(group),
        cheapest=any(sale.low == lowest for sale in then),
    )


def _usual_day(days: Sequence[date]) -> date:
    """The day that is nearest to those of the other years; the latest of equal ones."""
    return min(reversed(days), key=lambda day: sum(_apart(day, other) for other in days))


def _apart(one: date, other: date) -> int:
    """Days between them within a year."""
    days = abs((one - other).days)
    return abs(days - round(round(days / 365.2425) * 365.2425))


def shop_sales(tracks: Mapping[int, Track]) -> list[ShopSale]:
    """Days on which a third or more of one supplier's listings began a sale within two days.

    `tracks` by listing. Counted against the listings that were watched before.
    """
    falls = sorted((sale.start, listing, sale.depth) for listing, sale in _all_sales(tracks))
    known = sorted(track.pieces[0].start for track in tracks.values() if track.pieces)
    found: list[ShopSale] = []
    first = 0
    while first < len(falls):
        until = falls[first][0] + WITHIN // MICROSECOND
        last = bisect_right(falls, until, lo=first, key=lambda fall: fall[0])
        sale = _shop_sale(falls[first:last], bisect_left(known, falls[first][0]))
        if sale:
            found.append(sale)
        first = last if sale else first + 1
    return found


def _all_sales(tracks: Mapping[int, Track]) -> list[tuple[int, Sale]]:
    return [
        (listing, sale)
        for listing, track in tracks.items()
        for sale in find_sales(runs_of(track), at=track.at)[1]
    ]


def _shop_sale(falls: Sequence[tuple[int, int, Decimal]], listings: int) -> ShopSale | None:
    fell = {listing for _, listing, _ in falls}
    share, of = SHOP_WIDE
    if len(fell) < FEWEST or len(fell) * of < listings * share:
        return None
    depths = sorted(depth for _, _, depth in falls)
    middle = depths[(len(depths) - 1) // 2]
    return ShopSale(from_us(falls[0][0]), from_us(falls[-1][0]), len(fell), listings, middle)


def week_words(day: date) -> str:
    """`the last week of November`: the last seven days of a month, else its first, second ..."""
    if day.day > monthrange(day.year, day.month)[1] - 7:
        return f"the last week of {month_name[day.month]}"
    return f"the {ORDINALS[(day.day - 1) // 7]} week of {month_name[day.month]}"


def yearly_words(fact: Yearly) -> str:
    """`cheapest in two years: the last week of November, 25 % down, twice`."""
    span = _count(fact.watched_years)
    years = "one year" if fact.watched_years == 1 else f"{span} years"
    head = f"cheapest in {years}" if fact.cheapest else f"on sale in {len(fact.years)} years"
    times = {2: "twice"}.get(len(fact.years), f"{_count(len(fact.years))} times")
    return f"{head}: {week_words(fact.begins)}, {_percent(fact.depth)} % down, {times}"


def _count(number: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[number] if number < len(words) else str(number)


def _percent(share: Decimal) -> int:
    return int(share * 100 + Decimal("0.5"))
