"""Buy now or wait: what past waits for a price at or below X say, and how little that is.

A wait begins when the price rises above X (or was above it when first seen) and
ends with the first price at or below X; waits that are still open, or that run
into a stretch nobody watched, are censored. Their lengths give the chance by
Kaplan and Meier; below five completed waits no chance is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from service.model.money import money_text, round_money
from service.model.prices import FRESH_AT_LEAST, Spell
from service.prices.sales import find_sales
from service.prices.survival import Curve, kaplan_meier
from service.prices.track import (
    DAY_US,
    Piece,
    Run,
    Stretch,
    Track,
    from_us,
    make_track,
    runs_of,
    to_us,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ENOUGH = 5  # completed waits; fewer say nothing
HORIZON = timedelta(days=90)  # where no need-by date is set
# What waiting is worth to the user, a share of the price a week: two equal choices go to buying.
WEEKLY_COST = Decimal("0.001")
WORTH_IT = Decimal("0.01")  # a saving below this share of the price is not worth a wait
TOO_WIDE = (0.1, 0.9)  # an interval that holds both ends says nothing

Word = Literal["buy", "wait", "not enough known"]


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, with reasons that a person can check.

    `chance`: of a price at or below `target` by `need_by` (or the horizon), with its 95 %
    `interval`; None below five completed waits (`episodes`) of all `waits`. `expected_saving`: in
    the price's currency, net of the cost of waiting and of the risk of ending dearer.
    """

    verdict: Word
    target: Decimal | None = None
    chance: float | None = None
    interval: tuple[float, float] | None = None
    episodes: int = 0
    waits: int = 0
    expected_saving: Decimal | None = None
    need_by: datetime | None = None
    reasons: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Stakes:
    """Money of a wait: price now, hoped for, and otherwise at the end; cost of a unit of time."""

    now: Decimal
    target: Decimal
    fallback: Decimal
    cost: Decimal = Decimal(0)


def expected_saving(curve: Curve, stakes: Stakes, until: float, *, given: float = 0.0) -> Decimal:
    """Mean saving of waiting until `until` (same clock as `given`) instead of buying now.

    (now - target) P(hit) + (now - fallback) P(no hit) - cost x restricted mean wait.
    """
    missed = Decimal(curve.survival(until, given))
    delay = Decimal(curve.restricted_mean(until, given))
    hit = (stakes.now - stakes.target) * (1 - missed)
    return hit + (stakes.now - stakes.fallback) * missed - stakes.cost * delay


def waits_for(pieces: Sequence[Piece], target: Decimal) -> tuple[list[float], list[bool]]:
    """Lengths in days of all waits for a price at or below `target`, and which were rewarded.

    `pieces` in time order; a gap between two of them ends the wait as censored.
    """
    lengths: list[float] = []
    rewarded: list[bool] = []
    since: int | None = None
    end = 0
    for piece in pieces:
        reached = piece.price <= target
        if since is not None and (reached or piece.start > end):
            lengths.append((min(piece.start, end) - since) / DAY_US)
            rewarded.append(reached and piece.start <= end)
            since = None
        if not reached and since is None:
            since = piece.start
        end = piece.end
    if since is not None:
        lengths.append((end - since) / DAY_US)
        rewarded.append(False)
    return lengths, rewarded


@dataclass(frozen=True, slots=True)
class _Hope:
    """The price to wait for, in which currency, and whether the user named it."""

    target: Decimal
    currency: str
    asked: bool


@dataclass(frozen=True, slots=True)
class _Case:
    """Everything that the verdict is about."""

    now: Decimal
    currency: str
    regular: Decimal
    target: Decimal
    curve: Curve
    waited: float
    until: datetime
    days_left: float
    asked: bool  # the user named the target

    def text(self, amount: Decimal) -> str:
        return f"{money_text(round_money(amount, self.currency), self.currency)} {self.currency}"


def advise(
    spells: Sequence[Spell],
    gaps: Iterable[Stretch] = (),
    *,
    at: datetime,
    need_by: datetime | None = None,
    target: Decimal | None = None,
    fresh: timedelta = FRESH_AT_LEAST,
    weekly_cost: Decimal = WEEKLY_COST,
) -> Advice:
    """Buy or wait, for one subject's spells (of a part: its lowest usable price over listings).

    `target`: X; without one the usual price of its past sales, which says nothing before five
    waits for it have ended. `weekly_cost`: of waiting, a share of the price. Silent (`not enough
    known`) where the price is stale or too few waits ended.
    """
    track = make_track(spells, gaps, at=at, fresh=fresh)
    return advise_track(track, need_by=need_by, target=target, weekly_cost=weekly_cost)


def advise_track(
    track: Track,
    *,
    need_by: datetime | None = None,
    target: Decimal | None = None,
    weekly_cost: Decimal = WEEKLY_COST,
) -> Advice:
    """The same on a track."""
    if not track.stands or track.currency is None:
        return _silent(need_by, target, "no price that is recent enough to compare with")
    runs = runs_of(track)
    regular, sales = find_sales(runs, at=track.at)
    hoped = target
    if hoped is None:
        hoped = _usual_sale([sale.low for sale in sales if sale.how == "returned"])
    if hoped is None or regular is None:
        return _silent(need_by, None, f"no sale came and went in {_days(track)} days watched")
    hope = _Hope(hoped, track.currency, asked=target is not None)
    case = _case(track, runs, hope, regular, need_by or from_us(track.at) + HORIZON)
    return _decide(case, need_by, weekly_cost)


def _silent(need_by: datetime | None, target: Decimal | None, reason: str) -> Advice:
    return Advice("not enough known", target=target, need_by=need_by, reasons=(reason,))


def _days(track: Track) -> int:
    return round(track.watched / DAY_US)


def _usual_sale(lows: Sequence[Decimal]) -> Decimal | None:
    """The middle of the past sales' lowest prices, the dearer of two."""
    return sorted(lows)[len(lows) // 2] if lows else None


def _case(
    track: Track, runs: Sequence[Run], hope: _Hope, regular: Decimal, until: datetime
) -> _Case:
    target = hope.target
    lengths, rewarded = waits_for(track.pieces, target)
    waiting = runs[-1].price > target
    return _Case(
        now=runs[-1].price,
        currency=hope.currency,
        regular=regular,
        target=target,
        curve=kaplan_meier(lengths, rewarded),
        waited=lengths[-1] if waiting else 0.0,
        until=until,
        days_left=(to_us(until) - track.at) / DAY_US,
        asked=hope.asked,
    )


def _decide(case: _Case, need_by: datetime | None, weekly_cost: Decimal) -> Advice:
    episodes = sum(case.curve.events)
    facts = Advice(
        "buy", case.target, episodes=episodes, waits=len(case.curve.waits), need_by=need_by
    )
    if case.days_left <= 0:
        return _with(facts, "buy", "the date by which it is needed has come")
    name = "the target" if case.asked else "the usual price of its sales"
    met = f"{case.text(case.now)} is at or below {case.text(case.target)}, {name}"
    reached = case.now <= case.target
    if reached and case.asked:
        return _with(facts, "buy", met)
    counted = f"{episodes} of {facts.waits} past waits for {case.text(case.target)} ended with it"
    if episodes < ENOUGH:
        known = (met, counted) if reached else (counted,)
        return _with(facts, "not enough known", *known, f"a chance needs at least {ENOUGH}")
    if reached:
        return _with(facts, "buy", met, counted)
    return _weigh(case, facts, weekly_cost, counted)


def _with(facts: Advice, verdict: Word, *reasons: str) -> Advice:
    return replace(facts, verdict=verdict, reasons=reasons)


def _weigh(case: _Case, facts: Advice, weekly_cost: Decimal, counted: str) -> Advice:
    end = case.waited + case.days_left
    low, high = case.curve.interval(end, case.waited)
    interval = (1 - high, 1 - low)
    chance = 1 - case.curve.survival(end, case.waited)
    stakes = Stakes(case.now, case.target, max(case.now, case.regular), case.now * weekly_cost / 7)
    saving = expected_saving(case.curve, stakes, end, given=case.waited)
    weighed = replace(facts, chance=chance, interval=interval, expected_saving=saving)
    reasons = (counted, *_reasons(case, stakes, chance, interval))
    if interval[0] < TOO_WIDE[0] and interval[1] > TOO_WIDE[1]:
        return _with(weighed, "not enough known", *reasons, "the interval leaves everything open")
    words = f"waiting saves {case.text(saving)} on average, net of its cost"
    if saving < 0:
        words = f"waiting costs {case.text(-saving)} on average"
    worth = saving >= WORTH_IT * case.now
    return _with(weighed, "wait" if worth else "buy", *reasons, words)


def _reasons(
    case: _Case, stakes: Stakes, chance: float, interval: tuple[float, float]
) -> tuple[str, ...]:
    low, high = (f"{math.floor(100 * p + 0.5)}" for p in interval)
    hope = f"chance of {case.text(case.target)} or less by {case.until:%Y-%m-%d}"
    reasons = [f"{hope}: {100 * chance:.0f} % (95 % interval {low} to {high} %)"]
    if stakes.fallback > case.now:
        reasons.append(f"it is on sale now; if missed, it is back at {case.text(case.regular)}")
    if case.curve.waits and case.waited + case.days_left > case.curve.waits[-1]:
        reasons.append(f"no past wait was watched longer than {case.curve.waits[-1]:.0f} days")
    reasons.append("sales of one supplier are not independent: take the interval as the least")
    return tuple(reasons)
