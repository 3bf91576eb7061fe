"""Everything that the log says of a part or listing, as the JSON object of `history --json`.

Money, rates and percentages are texts, counts and days are integers, times are ISO
8601 with `Z`, what is not known is None. Names with `percent` and `percentile` are in
percent; shares, depths and chances lie between 0 and 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Any

from service.model.money import money_text, round_money
from service.model.prices import FRESH_AT_LEAST, Spell
from service.prices.calendar import (
    SameWeeks,
    ShopSale,
    Yearly,
    same_weeks,
    week_words,
    yearly_sale,
    yearly_words,
)
from service.prices.discount import Discount, judge_discount
from service.prices.stats import PriceStats, describe_track
from service.prices.track import Stretch, Track, make_track
from service.prices.wait import Advice, advise_track

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FINEST = Decimal("0.0001")  # money in texts; prices per unit of a part may have endless digits


@dataclass(frozen=True, slots=True)
class Subject:
    """A part or a listing, and all that its history rests on.

    `listings`: their spells in time order as seen, `gaps`: stretches in which nobody looked,
    `names`: keys, all by listing. `lowest`: of a part its lowest usable price per unit
    (`lowest_over`); None: a listing speaks for itself. `countries`: whose discount rule
    applies, by listing. `shop_sales`: of its suppliers, by supplier.
    """

    key: str
    listings: Mapping[int, Sequence[Spell]]
    names: Mapping[int, str] = field(default_factory=dict)
    gaps: Mapping[int, Sequence[Stretch]] = field(default_factory=dict)
    lowest: Sequence[Spell] | None = None
    countries: Mapping[int, str | None] = field(default_factory=dict)
    shop_sales: Mapping[str, Sequence[ShopSale]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: at which time, needed by when, at or below which price, from when on.

    `claimed`: the percentage the shop prints, if not by a list price. `since`: earlier spells
    are not listed (statistics rest on all of them).
    """

    at: datetime
    need_by: datetime | None = None
    target: Decimal | None = None
    claimed: Decimal | None = None
    zone: tzinfo = UTC
    since: datetime | None = None
    fresh: timedelta = FRESH_AT_LEAST


def history_object(subject: Subject, question: Question) -> dict[str, Any]:
    """The whole object: span, spells, stats, discount, calendar, advice."""
    track = _track(subject, question)
    stats = describe_track(track, standing=subject.lowest is not None)
    speaking = _speaking_listing(subject, question.at)
    return {
        "subject": subject.key,
        "span": _span(stats),
        "spells": _spells(subject, question),
        "stats": stats_json(stats),
        "discount": discount_json(
            _discount(subject, speaking, question), _currency(subject, speaking)
        ),
        "calendar": _calendar(track, subject, question),
        "advice": advice_json(
            advise_track(track, need_by=question.need_by, target=question.target), track.currency
        ),
    }


def _track(subject: Subject, question: Question) -> Track:
    if subject.lowest is not None:
        return make_track(subject.lowest, at=question.at, fresh=timedelta(0))
    (listing,) = list(subject.listings) or [0]
    gaps = subject.gaps.get(listing, ())
    return make_track(subject.listings.get(listing, ()), gaps, at=question.at, fresh=question.fresh)


def _speaking_listing(subject: Subject, at: datetime) -> int | None:
    """Whose claim is judged: the listing that has the part's lowest price now, or had it last."""
    if subject.lowest is None:
        return next(iter(subject.listings), None)
    begun = [spell for spell in subject.lowest if spell.first_seen <= at]
    return begun[-1].listing if begun else None


def _discount(subject: Subject, listing: int | None, question: Question) -> Discount:
    if listing is None:
        return Discount()
    return judge_discount(
        subject.listings.get(listing, ()),
        subject.gaps.get(listing, ()),
        at=question.at,
        country=subject.countries.get(listing),
        claimed=question.claimed,
        zone=question.zone,
    )


def _currency(subject: Subject, listing: int | None) -> str | None:
    spells = subject.listings.get(listing, ()) if listing is not None else ()
    return spells[-1].offer.currency if spells else None


def _span(stats: PriceStats) -> dict[str, Any]:
    return {
        "from": time_text(stats.start),
        "to": time_text(stats.end),
        "gaps_days": _whole(stats.gaps_days) or 0,
    }


def _spells(subject: Subject, question: Question) -> list[dict[str, Any]]:
    shown = [
        spell
        for spells in subject.listings.values()
        for spell in spells
        if spell.first_seen <= question.at
        and (question.since is None or spell.last_seen >= question.since)
    ]
    shown.sort(key=lambda spell: (spell.first_seen, spell.listing))
    return [spell_json(spell, subject.names.get(spell.listing, subject.key)) for spell in shown]


def spell_json(spell: Spell, name: str) -> dict[str, Any]:
    """One spell as it was seen, per unit of sale."""
    offer = spell.offer
    return {
        "listing": name,
        "price": _money(offer.price, offer.currency),
        "currency": offer.currency,
        "list_price": _money(offer.list_price, offer.currency),
        "availability": offer.availability.value,
        "tax": offer.tax.value,
        "first_seen": time_text(spell.first_seen),
        "last_seen": time_text(spell.last_seen),
        "polls": spell.polls,
    }


def stats_json(stats: PriceStats) -> dict[str, Any]:
    """Statistics with money in the subject's currency."""
    money = ("now", "low_30d", "low_90d", "low_365d", "low_ever", "high_ever", "median_90d")
    return {
        **{name: _shown(getattr(stats, name), stats.currency) for name in money},
        "percentile": _number(stats.percentile, 1),
        "days_since_lower": None if stats.days_since_lower is None else int(stats.days_since_lower),
        "spells": stats.spells,
        "changes_per_30d": _number(stats.changes_per_30d, 2),
        "implied_days": _number(stats.implied_days, 1),
        "regular": _shown(stats.regular, stats.currency),
        "on_sale": stats.on_sale,
        "sale_share": _number(stats.sale_share, 3),
        "sale_depth": _number(stats.sale_depth, 3),
        "days_between_sales": _whole(stats.days_between_sales),
    }


def discount_json(discount: Discount, currency: str | None) -> dict[str, Any]:
    """The reduction; percentages with one decimal, half up, negative where it is dearer."""
    return {
        "prior_price": _money(discount.prior_price, currency),
        "sale_began": time_text(discount.sale_began),
        "real_percent": _text(discount.real_percent),
        "claimed_percent": _text(discount.claimed_percent),
        "verdict": None if discount.verdict is None else discount.verdict.value,
        "readings": discount.readings,
        "days": discount.days,
    }


def advice_json(advice: Advice, currency: str | None) -> dict[str, Any]:
    """The advice; the interval as two texts, low end first."""
    interval = advice.interval
    return {
        "verdict": advice.verdict,
        "chance": _number(advice.chance, 2),
        "interval": None if interval is None else [_number(end, 2) for end in interval],
        "episodes": advice.episodes,
        "expected_saving": _cents(advice.expected_saving, currency),
        "need_by": time_text(advice.need_by),
        "reasons": list(advice.reasons),
    }


def _calendar(track: Track, subject: Subject, question: Question) -> list[dict[str, Any]]:
    facts = [_weeks_json(fact, track.currency) for fact in same_weeks(track, zone=question.zone)]
    yearly = yearly_sale(track, zone=question.zone)
    if yearly:
        facts.insert(0, _yearly_json(yearly))
    for supplier, sales in sorted(subject.shop_sales.items()):
        facts.extend(_shop_json(supplier, sale) for sale in sales if sale.start <= question.at)
    return facts


def _yearly_json(fact: Yearly) -> dict[str, Any]:
    return {
        "kind": "yearly_sale",
        "text": yearly_words(fact),
        "week": week_words(fact.begins),
        "years": list(fact.years),
        "depth": _number(float(fact.depth), 3),
    }


def _weeks_json(fact: SameWeeks, currency: str | None) -> dict[str, Any]:
    low = _shown(fact.low, currency)
    below = _percent(fact.below_regular)
    remark = f", {below} % below the regular price" if fact.below_regular else ", no sale"
    return {
        "kind": "same_weeks",
        "text": f"{fact.start} to {fact.end}: lowest {low} {currency}{remark}",
        "from": fact.start.isoformat(),
        "to": fact.end.isoformat(),
        "low": low,
        "depth": _number(float(fact.below_regular), 3),
    }


def _shop_json(supplier: str, sale: ShopSale) -> dict[str, Any]:
    day = sale.start.date()
    fell = f"{sale.fell} of {sale.listings} listings fell, {_percent(sale.depth)} % in the middle"
    return {
        "kind": "shop_sale",
        "text": f"{supplier}, {day}: {fell}",
        "supplier": supplier,
        "from": time_text(sale.start),
        "to": time_text(sale.end),
        "listings": sale.fell,
        "of": sale.listings,
        "depth": _number(float(sale.depth), 3),
    }


def time_text(moment: datetime | None) -> str | None:
    """ISO 8601 in UTC with `Z`."""
    if moment is None:
        return None
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _money(amount: Decimal | None, currency: str | None) -> str | None:
    if amount is None or currency is None:
        return None
    exact = amount if amount == amount.quantize(FINEST) else amount.quantize(FINEST, ROUND_HALF_UP)
    return money_text(exact, currency)


def _shown(amount: Decimal | None, currency: str | None) -> str | None:
    """Of one unit of a part: cents, below 1 with more places where it has them."""
    if amount is not None and currency is not None and amount >= 1:
        amount = round_money(amount, currency)
    return _money(amount, currency)


def _cents(amount: Decimal | None, currency: str | None) -> str | None:
    if amount is None or currency is None:
        return None
    return money_text(round_money(amount, currency) + 0, currency)  # never a minus before zero


def _number(value: float | None, digits: int) -> str | None:
    if value is None:
        return None
    step = Decimal(1).scaleb(-digits)
    return f"{Decimal(repr(value)).quantize(step, rounding=ROUND_HALF_UP):f}"


def _whole(value: float | None) -> int | None:
    return None if value is None else math.floor(value + 0.5)


def _percent(share: Decimal) -> int:
    return math.floor(float(share) * 100 + 0.5)


def _text(value: Decimal | None) -> str | None:
    return None if value is None else f"{value:f}"
