"""What speaks against a reading: its kind, and the reason in words.

Every doubt compares a reading with what its own listing showed before, but for what no shop
means as a price. Whether a doubt keeps a reading out is weighed in `gate`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from scrapers import Reading, Tax
from service.prices.identity import Known, other_identity
from service.prices.robust import SUSPICIOUS, robust_scale, robust_score, weighted_median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from service.model.prices import Spell

# Scale floor on log price. Regular price changes have a median size of about 8.5 %
# (Nakamura and Steinsson 2008, from memory); 3.5 x 0.07 doubts falls beyond 22 % and
# rises beyond 28 % of a price that has been flat.
FLOOR = 0.07
DEEPEST_SUPPORTED = Decimal("0.45")  # a struck-through price explains a cut to this share
HELD_BEFORE = Decimal("0.005")  # how near a price must come to one that was accepted before
SAME_LIST = Decimal("0.05")
FLIPS, FLIP_WINDOW = 3, 6  # changes to and fro, within as many readings

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
class Doubt:
    """`kind` as in GateVerdict; `reason`: in words."""

    kind: str
    reason: str
    lasts: timedelta = timedelta(0)  # how long readings must agree


def doubt_of(
    reading: Reading, recent: list[Spell], known: Known, vat_rates: Sequence[Decimal]
) -> Doubt | None:
    """What speaks most against `reading`, which has a price; None: nothing does.

    `recent`: accepted spells of its listing in time order. `vat_rates`: percent.
    """
    identity = other_identity(reading, known)
    if identity:
        return Doubt("identity", identity)
    if not recent:
        return _first(reading)
    last = recent[-1].offer
    if reading.currency != last.currency:
        return Doubt("currency", _currency_words(reading, recent[-1]))
    if Tax.UNKNOWN not in (reading.tax, last.tax) and reading.tax is not last.tax:
        return Doubt("tax", f"prices were shown tax {last.tax}, now tax {reading.tax}")
    return _swapped(reading) or _moved(reading, recent, vat_rates)


def slipped(reading: Reading, recent: Sequence[Spell]) -> bool:
    """Whether its price is a power of ten off one that was believed, and was never held itself."""
    same = [spell for spell in recent if spell.offer.currency == reading.currency]
    price = reading.price
    if price is None or _near_any(price, [spell.offer.price for spell in same], HELD_BEFORE):
        return False
    return _slip(price, same) is not None


def _first(reading: Reading) -> Doubt | None:
    """Nothing to compare with: only what no shop means as a price is kept aside."""
    if reading.price in PLACEHOLDERS and reading.currency in STRONG:
        return Doubt("placeholder", f"{reading.price} looks like a placeholder, not a price")
    return _swapped(reading)


def _currency_words(reading: Reading, last: Spell) -> str:
    words = f"currency changed from {last.offer.currency} to {reading.currency}"
    if reading.price == last.offer.price:
        return words + f" with the same figure {reading.price}"
    return words


def _swapped(reading: Reading) -> Doubt | None:
    price, listed = reading.price, reading.list_price
    if price is not None and listed is not None and listed < price:
        return Doubt("swapped", f"list price {listed} is below the price {price}: swapped?")
    return None


def _moved(reading: Reading, recent: list[Spell], vat_rates: Sequence[Decimal]) -> Doubt | None:
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


def _placeholder(price: Decimal, last: Decimal) -> Doubt | None:
    if price in PLACEHOLDERS and not last / 2 <= price <= last * 2:
        return Doubt("placeholder", f"{price} looks like a placeholder (the price was {last})")
    return None


def _slip(price: Decimal, same: Sequence[Spell]) -> Doubt | None:
    """An exact power of ten off a price or list price that was believed: a lost separator."""
    for offer in (spell.offer for spell in reversed(same)):
        for before in (offer.price, offer.list_price):
            factor = before and _power_of_ten(price, before)
            if factor:
                return Doubt("factor", f"{price} is {factor} {before}: a decimal slip?")
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


def _vat(price: Decimal, last: Decimal, rates: Sequence[Decimal]) -> Doubt | None:
    for rate in rates:
        factor = 1 + rate / 100
        if _within_rounding(price, last * factor):
            return Doubt("vat", f"{price} is exactly {last} plus {rate} % tax")
        if _within_rounding(price, last / factor):
            return Doubt("vat", f"{price} is exactly {last} less {rate} % tax")
    return None


def _within_rounding(price: Decimal, other: Decimal) -> bool:
    """Equal when both are rounded to the cent, and large enough that this says something."""
    return price >= 1 and abs(price - other) <= Decimal("0.005")


def _explained_or(doubt: Doubt | None, reading: Reading, same: Sequence[Spell]) -> Doubt | None:
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


def _jump(price: Decimal, same: Sequence[Spell]) -> Doubt | None:
    """Beyond 3.5 robust scales both of the usual price and of the one before."""
    logs, weights = _logs(same)
    usual, now = weighted_median(logs, weights), math.log(price)
    far = min(abs(now - usual), abs(now - logs[-1]))
    if robust_score(far, robust_scale(logs, weights, FLOOR)) <= SUSPICIOUS:
        return None
    last = same[-1].offer.price
    percent = abs(price - last) / last * 100
    verb = "fell" if price < last else "rose"
    return Doubt(
        "jump", f"the price {verb} by {percent:.0f} % from {last} to {price}, and nothing says why"
    )


def _flapping(price: Decimal, recent: Sequence[Spell]) -> Doubt | None:
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
    return Doubt("flapping", f"the price flaps between {tail[-1][0]} and {price}")
