"""Is a sale one? The real reduction against what the shop claims, from what was seen.

Directive 98/6/EC Art. 6a: a reduction is measured from the lowest price of the 30
days before it began; CJEU C-330/23 (26 September 2024): so is the percentage.
A poller sees samples, so it can show a claim to be false (a lower price was
seen) but never prove it true. Information, not legal advice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

from service.prices.rules import DiscountRule, rule_for
from service.prices.sales import Sale, find_sales
from service.prices.track import DAY_US, Run, Stretch, Track, from_us, make_track, runs_of, to_us

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from service.model.prices import Spell

ROUNDING = Decimal(1)  # percentage points that a printed percentage may be rounded by
WATCHED_ENOUGH = 0.9  # share of the window that must have been observed
TENTH = Decimal("0.1")


class Verdict(StrEnum):
    """What can be said of a claim."""

    CONTRADICTED = "contradicted"
    NOT_CONTRADICTED = "not contradicted"
    NOT_ENOUGH = "not enough history"


@dataclass(frozen=True, slots=True)
class Discount:
    """A reduction as seen and as claimed, in percent with one decimal, half up.

    `prior_price`: lowest price seen in the window before the reduction; None: nothing seen.
    `real_percent`: how far now is below it; negative: dearer. `verdict`: None where the shop
    claims nothing. `readings`, `days`: what was seen in all.
    """

    prior_price: Decimal | None = None
    sale_began: datetime | None = None
    real_percent: Decimal | None = None
    claimed_percent: Decimal | None = None
    verdict: Verdict | None = None
    readings: int = 0
    days: int = 0
    window_days: int = 30
    rule: str = ""


@dataclass(frozen=True, slots=True)
class _Began:
    """When the reduction began as people see it, and from when the rule measures it."""

    sale: int
    measured: int


def judge_discount(
    spells: Sequence[Spell],
    gaps: Iterable[Stretch] = (),
    *,
    at: datetime,
    country: str | None = None,
    claimed: Decimal | None = None,
    zone: tzinfo = UTC,
    rule: DiscountRule | None = None,
) -> Discount:
    """The reduction in force at `at` for one listing's spells (time order).

    `claimed`: the percentage the shop prints; else it follows from the list price of the newest
    spell. `country`: whose rule; `zone`: where the 30 days are counted from midnight.
    """
    rule = rule or rule_for(country, at.date())
    track = make_track(spells, gaps, at=at)
    if not track.pieces:
        return Discount(window_days=rule.window_days, rule=rule.source)
    known = [spell for spell in spells if spell.first_seen <= at]
    claim = claimed if claimed is not None else _claim(known[-1])
    runs = runs_of(track)
    began = _began(runs, known, track, rule, claim=claim)
    base = _base(known, track, claim, rule)
    return base if began is None else _measured(base, track, began, rule, zone)


def _claim(newest: Spell) -> Decimal | None:
    price, listed = newest.offer.price, newest.offer.list_price
    if listed is None or listed <= price:
        return None
    return (listed - price) / listed * 100


def _base(
    known: Sequence[Spell], track: Track, claim: Decimal | None, rule: DiscountRule
) -> Discount:
    """What is known without any reduction having been seen to begin."""
    return Discount(
        claimed_percent=None if claim is None else _tenths(claim),
        verdict=None if claim is None else Verdict.NOT_ENOUGH,
        readings=sum(spell.polls for spell in known),
        days=max(1, math.floor(track.watched / DAY_US + 0.5)),
        window_days=rule.window_days,
        rule=rule.source,
    )


def _tenths(percent: Decimal) -> Decimal:
    return percent.quantize(TENTH, rounding=ROUND_HALF_UP) + 0  # never a minus before zero


def _began(
    runs: Sequence[Run],
    known: Sequence[Spell],
    track: Track,
    rule: DiscountRule,
    *,
    claim: Decimal | None,
) -> _Began | None:
    _, sales = find_sales(runs, at=track.at)
    last = sales[-1] if sales else None
    if last is not None and last.after_run == len(runs) and (last.how == "open" or claim):
        return _Began(last.start, _measured_from(last, rule, track.at))
    return _claimed_without_fall(runs[-1], known) if claim else None


def _measured_from(sale: Sale, rule: DiscountRule, at: int) -> int:
    """The start of the newest cut; where the law allows it, of the first of the series."""
    if rule.stepwise == "first":
        limit = rule.campaign_days
        if limit is None or at - sale.start <= limit * DAY_US:
            return sale.start
    return sale.steps[-1][0]


def _claimed_without_fall(run: Run, known: Sequence[Spell]) -> _Began | None:
    """The shop began to claim a reduction at a price that did not fall: from then on.

    None where it has claimed so ever since the listing was first seen.
    """
    first = len(known) - 1
    while first and to_us(known[first - 1].first_seen) >= run.start and _claim(known[first - 1]):
        first -= 1
    if not first:
        return None
    moment = to_us(known[first].first_seen)
    return _Began(moment, moment)


def _measured(
    base: Discount, track: Track, began: _Began, rule: DiscountRule, zone: tzinfo
) -> Discount:
    low = _window_start(began.measured, rule.window_days, zone)
    seen = [piece for piece in track.since(low) if piece.start < began.measured]
    prior = min((piece.price for piece in seen), default=None)
    now = track.pieces[-1].price
    real = None if prior is None else (prior - now) / prior * 100
    watched = sum(min(p.end, began.measured) - max(p.start, low) for p in seen)
    first = track.pieces[0].start
    needed = began.measured - (max(low, first) if rule.new_goods else low)
    enough = watched >= WATCHED_ENOUGH * needed
    return Discount(
        prior_price=prior,
        sale_began=from_us(began.sale),
        real_percent=None if real is None else _tenths(real),
        claimed_percent=base.claimed_percent,
        verdict=_verdict(real, base.claimed_percent, enough=enough),
        readings=base.readings,
        days=base.days,
        window_days=rule.window_days,
        rule=rule.source,
    )


def _window_start(moment: int, days: int, zone: tzinfo) -> int:
    """Midnight of the day that lies `days` calendar days before the day of `moment`."""
    day = from_us(moment).astimezone(zone).date() - timedelta(days=days)
    return to_us(datetime.combine(day, time(), tzinfo=zone))


def _verdict(real: Decimal | None, claimed: Decimal | None, *, enough: bool) -> Verdict | None:
    if claimed is None:
        return None
    if real is not None and real < claimed - ROUNDING:
        return Verdict.CONTRADICTED
    return Verdict.NOT_CONTRADICTED if enough and real is not None else Verdict.NOT_ENOUGH


def discount_words(discount: Discount) -> str | None:
    """One sentence for people; None where there is no claim to speak of."""
    if discount.verdict is None:
        return None
    if discount.verdict is Verdict.NOT_CONTRADICTED:
        return f"the discount fits what was seen on {discount.days} days"
    if discount.verdict is Verdict.NOT_ENOUGH:
        return (
            f"seen on {discount.days} days only: too little of the {discount.window_days} days "
            "before the reduction to judge the discount"
        )
    real = Decimal(0) if discount.real_percent is None else discount.real_percent
    side = "above" if real < 0 else "below"
    return (
        f"{discount.claimed_percent} % claimed, {abs(real)} % {side} the lowest price "
        f"seen in the {discount.window_days} days before the reduction"
    )
