"""From exact fractions to the money that is shown, and other exact text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal, localcontext
from fractions import Fraction
from math import floor

from service.model.money import Rates, quantum


def to_cents(value: Fraction, currency: str) -> Decimal:
    """Rounded to the currency's minor units, exact halves away from zero.

    Regulation (EC) 1103/97 Art. 5 and common practice. Exact for any fraction.
    """
    step = quantum(currency)
    scaled = abs(value) / Fraction(step)
    whole = int(scaled + Fraction(1, 2))
    return (whole if value >= 0 else -whole) * step


def share_out(total: Decimal, weights: Sequence[Fraction], currency: str) -> list[Decimal]:
    """`total` in parts of whole minor units that add up to it, by weight.

    Where all weights are 0 all parts are equal. What rounding down leaves goes to the
    largest remainders, of equal ones to the first (method of Hamilton).
    """
    step, whole = quantum(currency), sum(weights, Fraction(0))
    each = [w / whole for w in weights] if whole else [Fraction(1, len(weights))] * len(weights)
    exact = [Fraction(total) / Fraction(step) * part for part in each]
    down = [floor(value) for value in exact]
    left = round(Fraction(total) / Fraction(step)) - sum(down)
    order = sorted(range(len(exact)), key=lambda n: exact[n] - down[n], reverse=True)
    for place in order[:left]:
        down[place] += 1
    return [count * step for count in down]


def to_decimal(value: Fraction, digits: int = 28) -> Decimal:
    """The nearest decimal of `digits` significant digits, without trailing zeros."""
    with localcontext() as context:
        context.prec = digits
        found = Decimal(value.numerator) / Decimal(value.denominator)
    return plain(found)


def plain(value: Decimal) -> Decimal:
    """Without trailing zeros and exponent: 2E+1 -> 20, 1.50 -> 1.5."""
    short = value.normalize()
    return short if short.as_tuple().exponent <= 0 else short.quantize(Decimal(1))  # type: ignore[operator]  # finite here


def number_text(value: Fraction | Decimal, digits: int = 12) -> str:
    """Decimal text without exponent: what a person reads or JSON carries."""
    found = to_decimal(value, digits) if isinstance(value, Fraction) else plain(value)
    return f"{found:f}"


def exact_rate(rates: Rates, source: str, target: str) -> tuple[Fraction, date | None] | None:
    """Units of `target` for one unit of `source` without any rounding, and its day.

    A quotient of two euro rates, never an inverse rate (Regulation (EC) 1103/97 Art. 4).
    The day is None where no rate was needed.
    """
    if source == target:
        return Fraction(1), None
    days: list[date] = []
    values: list[Fraction] = []
    for currency in (target, source):
        rate = rates.by_currency.get(currency)
        if rate is None and currency != "EUR":
            return None
        values.append(Fraction(rate.value) if rate and currency != "EUR" else Fraction(1))
        days.extend([rate.day] if rate and currency != "EUR" else [])
    return values[0] / values[1], min(days)
