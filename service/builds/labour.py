"""The builder's own hours: beside the costs, and in them only at a rate of the user's."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Final

from scrapers import Amount
from service.builds import texts
from service.builds.cents import exact_rate, number_text, to_cents
from service.builds.figures import LineCost, zero
from service.model.builds import Build, Counts
from service.model.money import Rates

HOUR: Final = "h"  # no goods are counted in it


def hours_of(build: Build) -> Decimal:
    """All hours of a build whose lines are whole."""
    own = [line.hours for line in build.lines if line.hours is not None]
    return sum(own, build.hours or Decimal(0))


def without_labour(build: Build) -> Build:
    """The goods alone."""
    lines = tuple(replace(line, hours=None) if line.hours else line for line in build.lines)
    return replace(build, lines=lines, hours=None, labour_rate=None)


def labour_line(build: Build, rates: Rates) -> LineCost | None:
    """The hours as a line of their own; None: there are none, or they count nothing.

    Work is in the model's cost, but no money is spent on it: `to_spend` is 0.
    """
    hours, pay = hours_of(build), build.labour_rate
    if not hours or pay is None:
        return None
    rate = exact_rate(rates, pay.currency, build.currency)
    if rate is None:
        return None
    cost = to_cents(Fraction(hours) * Fraction(pay.amount) * rate[0], build.currency)
    return LineCost(
        part=None,
        name=texts.LABOUR,
        group=texts.LABOUR,
        amount=Amount(hours, HOUR),
        counts=Counts(),
        status="priced",
        rule=texts.LABOUR_RATE.format(rate=pay),
        share=cost,
        to_spend=zero(build.currency),
    )


def labour_note(build: Build, line: LineCost | None) -> list[str]:
    """The hours that are in no total."""
    hours = hours_of(build)
    if not hours or line is not None:
        return []
    shown, pay = number_text(hours), build.labour_rate
    if pay is None:
        return [texts.HOURS.format(hours=shown)]
    return [texts.HOURS_NO_RATE.format(hours=shown, rate=pay, currency=build.currency)]
