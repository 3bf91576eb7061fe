"""The figures of a build as they are shown: lines, groups, totals."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount
from service.builds import texts
from service.builds.cents import to_cents
from service.builds.landed import Landed
from service.builds.offers import Status
from service.model.builds import Counts
from service.model.catalogue import Listing

NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class LineCost:
    """One line with every figure and the reason for it.

    Money is rounded half up to the build currency's minor units; `price` is of one unit
    of sale in `currency` as its page shows it; `rate`: build currency for one unit of it.
    `on_hand` is in `unit`, `mass` in g. None: not known. `place`: the line of the build's
    list that it comes from, counted from 0; both components of a mixture name the same.
    """

    part: str | None
    name: str
    group: str
    amount: Amount
    counts: Counts
    status: Status
    listing: Listing | None = None
    rule: str | None = None
    sold_as: Amount | None = None
    price: Decimal | None = None
    currency: str | None = None
    rate: Decimal | None = None
    rate_day: date | None = None
    buy: Decimal = NOTHING
    share: Decimal | None = None
    to_spend: Decimal | None = None
    paid: Decimal | None = None
    delivered: Decimal | None = None
    on_hand: Decimal = NOTHING
    mass: Decimal | None = None
    age: timedelta | None = None
    hint: str = ""
    place: int | None = None


@dataclass(frozen=True, slots=True)
class Sums:
    """What the shown lines add up to. Not `complete`: at least so much."""

    share: Decimal
    to_spend: Decimal
    paid: Decimal | None
    delivered: Decimal | None
    mass: Decimal | None
    complete: bool
    spent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class BuildCost:
    """A build repriced at one time. `missing`: lines without a price, by part or need."""

    build: str
    name: str
    currency: str
    at: datetime
    destination: str | None
    lines: tuple[LineCost, ...]
    groups: tuple[tuple[str, Sums], ...]
    totals: Sums
    missing: tuple[str, ...] = ()
    companions: tuple[dict[str, str], ...] = ()
    fit: tuple[dict[str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    orders: tuple[Landed, ...] = ()


def zero(currency: str) -> Decimal:
    """Nothing, with the currency's minor units."""
    return to_cents(Fraction(0), currency)


def sums(lines: Iterable[LineCost]) -> Sums:
    """Totals of the shown figures; what no line knows is None, what one lacks is left out."""
    rows = list(lines)
    return Sums(
        share=_add(row.share for row in rows) or NOTHING,
        to_spend=_add(row.to_spend for row in rows) or NOTHING,
        paid=_add(row.paid for row in rows),
        delivered=_delivered(rows),
        mass=_add(row.mass for row in rows),
        complete=all(row.status != "missing" for row in rows),
    )


def _add(values: Iterable[Decimal | None]) -> Decimal | None:
    known = [value for value in values if value is not None]
    return sum(known, NOTHING) if known else None


def _delivered(lines: Iterable[LineCost]) -> Decimal | None:
    """Not known where it is not of a line that has a price."""
    known = [line for line in lines if line.to_spend is not None]
    if any(line.delivered is None for line in known):
        return None
    return _add(line.delivered for line in known)


def group_sums(lines: Sequence[LineCost]) -> tuple[tuple[str, Sums], ...]:
    names = dict.fromkeys(line.group for line in lines)
    return tuple((name, sums(line for line in lines if line.group == name)) for name in names)


def mass_warning(lines: Sequence[LineCost]) -> list[str]:
    """Only a build whose masses are kept wants to hear which are not known."""
    built = [line for line in lines if line.counts.kind not in {"tool", "stock"}]
    lacking = dict.fromkeys(line.name for line in built if line.mass is None)
    if not lacking or all(line.mass is None for line in built):
        return []
    return [texts.MASS_UNKNOWN.format(parts=", ".join(lacking))]


def with_delivered(cost: BuildCost, extra: Sequence[Decimal | None]) -> BuildCost:
    """The cost with each line's part of shipping, tax, duty and fees, in the order of lines.

    `extra` is in the build's currency, rounded; None: not known. `delivered` of a line is
    what it asks to spend plus that.
    """
    lines = tuple(
        replace(line, delivered=_plus(line.to_spend, part))
        for line, part in zip(cost.lines, extra, strict=True)
    )
    totals = replace(sums(lines), spent=cost.totals.spent)
    return replace(cost, lines=lines, groups=group_sums(lines), totals=totals)


def _plus(spend: Decimal | None, part: Decimal | None) -> Decimal | None:
    return None if spend is None or part is None else spend + part
