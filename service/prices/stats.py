"""Time-weighted statistics of a price, on spells, with the span and the gaps they rest on."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from service.model.prices import FRESH_AT_LEAST, Spell
from service.prices.sales import Sale, find_sales
from service.prices.track import (
    DAY_US,
    MICROSECOND,
    Run,
    Stretch,
    Track,
    from_us,
    make_track,
    runs_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime
    from decimal import Decimal

LEAST = timedelta(days=7)  # how long a price must be watched to have a usual one


@dataclass(frozen=True, slots=True)
class PriceStats:
    """What is known of a price at one time. Money in `currency`; None: not known.

    `now`: the last price seen. `low_*`: the lowest that held at any time within so many days.
    `median_90d`: the price that half of the observed time of 90 days was at or below.
    `percentile`: percent of the observed time of a year in which it was cheaper than now.
    `days_since_lower`: since it was last as low as now, before the present spell.
    `spells`: price spells, the first and the last censored; `spell_days`: median length of the
    complete ones. `changes_per_30d`: price changes per 30 observed days. `implied_days`:
    -1 / ln(1 - f), f price changes per day (Bils and Klenow 2004). `sale_share`, `sale_depth`:
    0..1. `days_between_sales`: median, from beginning to beginning.
    `gaps_days`: days within the span that nobody looked.
    """

    currency: str | None = None
    start: datetime | None = None
    end: datetime | None = None
    gaps_days: float = 0.0
    watched_days: float = 0.0
    now: Decimal | None = None
    low_30d: Decimal | None = None
    low_90d: Decimal | None = None
    low_365d: Decimal | None = None
    high_30d: Decimal | None = None
    high_90d: Decimal | None = None
    high_365d: Decimal | None = None
    low_ever: Decimal | None = None
    high_ever: Decimal | None = None
    median_90d: Decimal | None = None
    percentile: float | None = None
    days_since_lower: float | None = None
    spells: int = 0
    spell_days: float | None = None
    changes_per_30d: float | None = None
    implied_days: float | None = None
    regular: Decimal | None = None
    on_sale: bool | None = None
    sale_share: float | None = None
    sale_depth: float | None = None
    days_between_sales: float | None = None
    left_out: int = 0


def describe(
    spells: Sequence[Spell],
    gaps: Iterable[Stretch] = (),
    *,
    at: datetime,
    fresh: timedelta = FRESH_AT_LEAST,
    standing: bool = False,
) -> PriceStats:
    """Statistics of one subject's spells (time order) as known at `at`.

    `gaps`: stretches in which nobody looked. `fresh`: how long a price stands after it was last
    seen (0 for a series that already says when it ends). `standing`: a price that no longer
    stands at `at` is not now's.
    """
    return describe_track(make_track(spells, gaps, at=at, fresh=fresh), standing=standing)


def describe_track(track: Track, *, standing: bool = False) -> PriceStats:
    """Statistics of a track at its own time."""
    if not track.pieces:
        return PriceStats(left_out=track.left_out)
    stats = _described(track)
    if not standing or track.stands:
        return stats
    return replace(stats, now=None, percentile=None, days_since_lower=None, on_sale=None)


def _described(track: Track) -> PriceStats:
    runs = runs_of(track)
    regular, sales = find_sales(runs, at=track.at)
    watched = sum(run.watched for run in runs)
    days = watched / DAY_US
    changes = len(runs) - 1
    prices = [piece.price for piece in track.pieces]
    month, quarter, year = (
        prices[track.first_held(track.at - n * DAY_US) :] for n in (30, 90, 365)
    )
    return PriceStats(
        currency=track.currency,
        start=from_us(track.pieces[0].start),
        end=from_us(track.pieces[-1].seen),
        gaps_days=_gap_days(track, watched),
        watched_days=days,
        now=runs[-1].price,
        low_30d=min(month, default=None),
        low_90d=min(quarter, default=None),
        low_365d=min(year, default=None),
        high_30d=max(month, default=None),
        high_90d=max(quarter, default=None),
        high_365d=max(year, default=None),
        low_ever=min(prices),
        high_ever=max(prices),
        median_90d=_median(track, track.at - 90 * DAY_US),
        percentile=_percentile(track, track.at - 365 * DAY_US, runs[-1].price),
        days_since_lower=_days_since(runs, track.at),
        spells=len(runs),
        spell_days=_spell_days(runs),
        changes_per_30d=changes * 30 / days if days else None,
        implied_days=implied_duration(changes / days) if days else None,
        regular=regular,
        on_sale=regular is not None and runs[-1].price < regular,
        sale_share=_share(runs, sales, watched),
        sale_depth=_depth(sales),
        days_between_sales=_between(sales),
        left_out=track.left_out,
    )


def usual_price(track: Track, days: int) -> Decimal | None:
    """The median by time of the last `days` days: half of the time that was observed the price
    was at or below it. None: less than `LEAST` of them was observed, so that little more
    than the price of now would be called usual.
    """
    since = track.at - days * DAY_US
    watched = sum(_weighted(track, since).values())
    return None if watched < LEAST // MICROSECOND else _median(track, since)


def implied_duration(frequency: float) -> float | None:
    """-1 / ln(1 - f) periods (Bils and Klenow 2004, JPE 112(5)): constant hazard of a change.

    `frequency`: share of periods with a change. None: no change was seen, or one in every
    period (looked too rarely to measure).
    """
    if not 0 < frequency < 1:
        return None
    return -1 / math.log1p(-frequency)


def _gap_days(track: Track, watched: int) -> float:
    last = track.pieces[-1]
    return max(0, max(last.end, last.seen) - track.pieces[0].start - watched) / DAY_US


def _weighted(track: Track, since: int) -> dict[Decimal, int]:
    """Observed microseconds at each price since a moment."""
    times: dict[Decimal, int] = {}
    for piece in track.held_since(since):
        span = piece.end - max(piece.start, since)
        times[piece.price] = times.get(piece.price, 0) + span
    return times


def _median(track: Track, since: int) -> Decimal | None:
    """The lowest price that at least half of the observed time was at or below."""
    times = _weighted(track, since)
    total = sum(times.values())
    reached = 0
    for price in sorted(times):
        reached += times[price]
        if 2 * reached >= total:
            return price
    return None


def _percentile(track: Track, since: int, now: Decimal) -> float | None:
    times = _weighted(track, since)
    total = sum(times.values())
    if not total:
        return None
    return 100 * sum(time for price, time in times.items() if price < now) / total


def _days_since(runs: Sequence[Run], at: int) -> float | None:
    now = runs[-1].price
    for before in range(len(runs) - 2, -1, -1):
        if runs[before].price <= now:
            return (at - runs[before].seen) / DAY_US
    return None


def _spell_days(runs: Sequence[Run]) -> float | None:
    """Median length of the complete spells: neither the first nor the last."""
    return _middle([(end - start) / DAY_US for _, start, _, end, _ in runs[1:-1]])


def _middle(values: Sequence[float]) -> float | None:
    ordered = sorted(values)
    half = len(ordered) // 2
    if not ordered:
        return None
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def _share(runs: Sequence[Run], sales: Sequence[Sale], watched: int) -> float | None:
    """Observed time on sale; a fall that became the regular price was none, seen from today."""
    if not watched:
        return None
    real = (sale for sale in sales if sale.how != "settled")
    on_sale = sum(run.watched for s in real for run in runs[s.first_run : s.after_run])
    return on_sale / watched


def _depth(sales: Sequence[Sale]) -> float | None:
    real = (sale for sale in sales if sale.how != "settled")
    return _middle([1 - float(sale.low) / float(sale.regular) for sale in real])


def _between(sales: Sequence[Sale]) -> float | None:
    begun = [sale.start for sale in sales if sale.how != "settled"]
    return _middle([(b - a) / DAY_US for a, b in pairwise(begun)])
