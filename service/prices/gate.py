"""Is this reading to be believed? A jump that nothing supports is kept aside, with its reason.

The price log holds accepted readings only, so the gate compares a reading with
the spells of its own listing. Doubt costs a little time (the page is visited
again soon), belief in a wrong price costs a false deal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from scrapers import Ids, Outcome, Reading, Tax
from service.prices.corroborate import Kept, agreed_since, agreeing
from service.prices.identity import Known, other_identity
from service.prices.robust import SUSPICIOUS, robust_scale, robust_score, weighted_median

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from service.model.prices import Spell

# Scale floor on log price. Regular price changes have a median size of about 8.5 %
# (Nakamura and Steinsson 2008, from memory); 3.5 x 0.07 doubts falls beyond 22 % and
# rises beyond 28 % of a price that has been flat.
FLOOR = 0.07
MEMORY = timedelta(days=365)
DEEPEST_SUPPORTED = Decimal("0.45")  # a struck-through price explains a cut to this share
HELD_BEFORE = Decimal("0.005")  # how near a price must come to one that was accepted before
SAME_LIST = Decimal("0.05")
FLIPS, FLIP_WINDOW = 3, 6  # changes to and fro, within as many readings

# Readings of the same page that must agree before a doubt is dropped, the first
# included. Their distance in time is the schedule's (a doubtful page is due
# again soon, never faster than its host allows); `apart` asks for more.
SIGHTINGS = {"price": 3, "identity": 5}

# A power of ten is how a misread page looks (cents taken for units, a lost decimal mark), and
# what was misread once is misread at every visit: such readings must also last so long, that
# the shop, the page or the user has time to set it right.
SLIP_LASTS = timedelta(hours=24)
SLIP_WORDS = (
    "; a misread page is misread each time, so readings must agree over"
    f" {SLIP_LASTS // timedelta(hours=1)} hours, or you accept it"
)

# Standard rates of the EU member states and the UK, percent (European Commission,
# "VAT rates applied in the Member States"; some states changed lately: a hint, not a tax table).
VAT_RATES = tuple(
    Decimal(rate) for rate in ("17", "18", "19", "20", "21", "22", "23", "24", "25", "25.5", "27")
)
# What shops type where no price is known yet, common practice.
_PLACEHOLDER_TEXTS = (
    *("0.01", "0.1", "1234", "1234.56", "12345", "12345.67", "123456", "1111.11", "11111.11"),
    *("9999", "9999.9", "9999.99", "99999", "99999.9", "99999.99", "999999", "999999.99"),
)
PLACEHOLDERS = frozenset(Decimal(text) for text in _PLACEHOLDER_TEXTS)
# Where a first reading of 9999 can be nothing but a placeholder for model parts.
STRONG = frozenset({"EUR", "USD", "GBP", "CHF", "CAD", "AUD", "NZD"})


@dataclass(frozen=True, slots=True)
class GateVerdict:
    """Whether a reading may enter the price log.

    `reason`: why not, in words. `kind`: `reading`, `placeholder`, `identity`, `currency`,
    `tax`, `swapped`, `factor`, `vat`, `jump` or `flapping`. `needs`: how many more full
    readings must agree; 0 with a doubt: only the user can settle it. `until`: no reading
    before then settles it (a power of ten), however many agree.
    """

    accept: bool
    reason: str | None = None
    kind: str | None = None
    needs: int = 0
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class _Doubt:
    kind: str
    reason: str
    lasts: timedelta = timedelta(0)  # how long readings must agree


ACCEPTED = GateVerdict(accept=True)


def judge(  # noqa: PLR0913 - every argument is one kind of evidence, all but two optional
    reading: Reading,
    history: Sequence[Spell],
    *,
    at: datetime,
    known_ids: Ids | None = None,
    known_title: str | None = None,
    known_sold_as: str | None = None,
    known_spec: Mapping[str, str] | None = None,
    kept_aside: Sequence[Kept | Mapping[str, Any] | Reading] = (),
    vat_rates: Sequence[Decimal] = VAT_RATES,
    apart: timedelta = timedelta(0),
) -> GateVerdict:
    """Believe `reading` (a full one, not a 304) of a listing with this `history`?

    `history`: accepted spells in time order; only the last year before `at` counts. `known_*`:
    what the page called itself when it was last believed. `kept_aside`: earlier doubtful readings
    of the listing (an object with `at`, `reading`, `seen` and where it has been seen before
    `since`, the JSON object of a reading, or a Reading; the last two tell no time). A user's
    decision goes past the gate.
    """
    if not _is_price(reading):
        return GateVerdict(False, reading.reason or "no price was read", "reading")
    known = Known(known_ids, known_title, known_sold_as, known_spec)
    recent = _recent(history, at)
    doubt = _doubt(reading, recent, known, vat_rates)
    if doubt is None:
        return ACCEPTED
    before = agreeing(reading, kept_aside, at=at, apart=apart)
    return _weigh(_lasting(doubt, reading, recent), before, agreed_since(reading, kept_aside), at)


def _is_price(reading: Reading) -> bool:
    price = reading.price
    return (
        reading.outcome is Outcome.OK and reading.currency is not None and bool(price and price > 0)
    )


def _weigh(doubt: _Doubt, before: int, since: datetime | None, at: datetime) -> GateVerdict:
    if doubt.kind == "placeholder":
        return GateVerdict(False, doubt.reason, doubt.kind)
    wanted = SIGHTINGS.get(doubt.kind, SIGHTINGS["price"])
    needs, until = wanted - before - 1, (since or at) + doubt.lasts
    if needs <= 0 and until <= at:
        return ACCEPTED
    return GateVerdict(
        False, doubt.reason, doubt.kind, max(needs, 1), until if doubt.lasts else None
    )


def _lasting(doubt: _Doubt, reading: Reading, recent: Sequence[Spell]) -> _Doubt:
    """A power of ten must last, whatever else the page is doubted for."""
    if doubt.kind == "placeholder" or not _slipped(reading, recent):
        return doubt
    return replace(doubt, reason=doubt.reason + SLIP_WORDS, lasts=SLIP_LASTS)


def _slipped(reading: Reading, recent: Sequence[Spell]) -> bool:
    same = [spell for spell in recent if spell.offer.currency == reading.currency]
    price = reading.price
    if price is None or _near_any(price, [spell.offer.price for spell in same], HELD_BEFORE):
        return False
    return _slip(price, same) is not None


def _recent(history: Sequence[Spell], at: datetime) -> list[Spell]:
    past = [spell for spell in history if spell.first_seen <= at]
    kept = [spell for spell in past if spell.last_seen >= at - MEMORY]
    return kept or past[-1:]


def _doubt(
    reading: Reading, recent: list[Spell], known: Known, vat_rates: Sequence[Decimal]
) -> _Doubt | None:
    identity = other_identity(reading, known)
    if identity:
        return _Doubt("identity", identity)
    if not recent:
        return _first(reading)
    last = recent[-1].offer
    if reading.currency != last.currency:
        return _Doubt("currency", _currency_words(reading, recent[-1]))
    if Tax.UNKNOWN not in (reading.tax, last.tax) and reading.tax is not last.tax:
        return _Doubt("tax", f"prices were shown tax {last.tax}, now tax {reading.tax}")
    return _swapped(reading) or _moved(reading, recent, vat_rates)


def _first(reading: Reading) -> _Doubt | None:
    """Nothing to compare with: only what no shop means as a price is kept aside."""
    if reading.price in PLACEHOLDERS and reading.currency in STRONG:
        return _Doubt("placeholder", f"{reading.price} looks like a placeholder, not a price")
    return _swapped(reading)


def _currency_words(reading: Reading, last: Spell) -> str:
    words = f"currency changed from {last.offer.currency} to {reading.currency}"
    if reading.price == last.offer.price:
        return words + f" with the same figure {reading.price}"
    return words


def _swapped(reading: Reading) -> _Doubt | None:
    price, listed = reading.price, reading.list_price
    if price is not None and listed is not None and listed < price:
        return _Doubt("swapped", f"list price {listed} is below the price {price}: swapped?")
    return None


def _moved(reading: Reading, recent: list[Spell], vat_rates: Sequence[Decimal]) -> _Doubt | None:
    price = reading.price
    last = recent[-1].offer.price
    if price is None or price == last:
        return None
    flapping = _flapping(price, recent)
    if flapping:
        return flapping
    same = [spell for spell in recent if spell.offer.currency == reading.currency]
    if _near_any(price, [spell.offer.price for spell in same], HELD_BEFORE):
        return None
    return (
        _placeholder(price, last)
        or _slip(price, same)
        or _explained_or(_vat(price, last, vat_rates), reading, same)
        or _explained_or(_jump(price, same), reading, same)
    )


def _near_any(price: Decimal, others: Sequence[Decimal], within: Decimal) -> bool:
    return any(abs(price - other) <= within * other for other in others)


def _placeholder(price: Decimal, last: Decimal) -> _Doubt | None:
    if price in PLACEHOLDERS and not last / 2 <= price <= last * 2:
        return _Doubt("placeholder", f"{price} looks like a placeholder (the price was {last})")
    return None


def _slip(price: Decimal, same: Sequence[Spell]) -> _Doubt | None:
    """An exact power of ten off a price or list price that was believed: a lost separator."""
    for offer in (spell.offer for spell in reversed(same)):
        for before in (offer.price, offer.list_price):
            factor = before and _power_of_ten(price, before)
            if factor:
                return _Doubt("factor", f"{price} is {factor} {before}: a decimal slip?")
    return None


def _power_of_ten(price: Decimal, before: Decimal) -> str | None:
    low, high = min(price, before), max(price, before)
    for factor in (10, 100, 1000):
        exact = high == low * factor
        if exact or _equal_to_the_cent(low, high / factor):
            how = "exactly" if exact else "to the cent"
            return f"{how} {factor} times" if price > before else f"{how} 1/{factor} of"
    return None


def _equal_to_the_cent(low: Decimal, other: Decimal) -> bool:
    """Cut off or rounded to the cent on the way (2.49 for a tenth of 24.95)."""
    return abs(low - other) < min(Decimal("0.01"), low / 200)


def _vat(price: Decimal, last: Decimal, rates: Sequence[Decimal]) -> _Doubt | None:
    for rate in rates:
        factor = 1 + rate / 100
        if _within_rounding(price, last * factor):
            return _Doubt("vat", f"{price} is exactly {last} plus {rate} % tax")
        if _within_rounding(price, last / factor):
            return _Doubt("vat", f"{price} is exactly {last} less {rate} % tax")
    return None


def _within_rounding(price: Decimal, other: Decimal) -> bool:
    """Equal when both are rounded to the cent, and large enough that this says something."""
    return price >= 1 and abs(price - other) <= Decimal("0.005")


def _explained_or(doubt: _Doubt | None, reading: Reading, same: Sequence[Spell]) -> _Doubt | None:
    return None if doubt is None or _page_explains(reading, same) else doubt


def _page_explains(reading: Reading, same: Sequence[Spell]) -> bool:
    """A struck-through price about as high as what was paid before, or the end of a sale."""
    price, last = reading.price, same[-1].offer
    if price is None:
        return False
    if price > last.price:
        return last.list_price is not None and _near_any(price, [last.list_price], HELD_BEFORE)
    listed = reading.list_price
    if listed is None or listed <= price or price < DEEPEST_SUPPORTED * last.price:
        return False
    return listed >= (1 - SAME_LIST) * min(last.price, _level(same))


def _level(same: Sequence[Spell]) -> Decimal:
    logs, weights = _logs(same)
    return Decimal(str(math.exp(weighted_median(logs, weights))))


def _logs(same: Sequence[Spell]) -> tuple[list[float], list[float]]:
    logs = [math.log(spell.offer.price) for spell in same]
    weights = [(spell.last_seen - spell.first_seen).total_seconds() for spell in same]
    return logs, weights


def _jump(price: Decimal, same: Sequence[Spell]) -> _Doubt | None:
    """Beyond 3.5 robust scales both of the usual price and of the one before."""
    logs, weights = _logs(same)
    usual, now = weighted_median(logs, weights), math.log(price)
    far = min(abs(now - usual), abs(now - logs[-1]))
    if robust_score(far, robust_scale(logs, weights, FLOOR)) <= SUSPICIOUS:
        return None
    last = same[-1].offer.price
    percent = abs(price - last) / last * 100
    verb = "fell" if price < last else "rose"
    return _Doubt(
        "jump", f"the price {verb} by {percent:.0f} % from {last} to {price}, and nothing says why"
    )


def _flapping(price: Decimal, recent: Sequence[Spell]) -> _Doubt | None:
    """To and fro between two prices within a few readings: the page shows now this, now that."""
    runs: list[tuple[Decimal, int]] = []
    for spell in recent:
        if runs and runs[-1][0] == spell.offer.price:
            runs[-1] = (spell.offer.price, runs[-1][1] + spell.polls)
        else:
            runs.append((spell.offer.price, spell.polls))
    tail = runs[-FLIPS:]
    if len(tail) < FLIPS or len({value for value, _ in tail} | {price}) != 2:
        return None
    if sum(polls for _, polls in tail[1:]) + 1 > FLIP_WINDOW:
        return None
    return _Doubt("flapping", f"the price flaps between {tail[-1][0]} and {price}")
