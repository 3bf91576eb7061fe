"""How many of a listing an order plan buys, as columns with what they cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from service.builds.plan_goods import Good
from service.builds.plan_milp import HALF, Lin, Programme, added
from service.builds.plan_terms import Terms

TABLE = 24  # numbers of a listing that are told apart one by one
LONGEST = 400  # the same where prices for several make it necessary


@dataclass(slots=True)
class Stock:
    """A good's columns. `steps`: how many are bought, `used`: whether any is; the others are
    expressions: minor units paid, value in the shop's currency, minor units at the border.
    """

    good: Good
    most: int
    steps: Lin
    used: int
    paid: Lin
    value: Lin
    net: Lin
    all_counts: bool = True


class Spare:
    """How many more steps than needed may pay, because an order of higher value is sent free,
    costs less at the border, or is large enough at all.
    """

    def __init__(self, terms: Terms, goods: Sequence[Good]) -> None:
        self.least = Fraction(terms.shop.min_order or 0)
        fees = [Fraction(t.fee) * terms.factor for t in terms.tiers]
        limits = any(t.over is not None or t.before for t in terms.tiers)
        self.save = max(fees) - min(fees) if limits else Fraction(0)
        border = terms.border
        if border and border.a_group and border.up_to is not None:
            groups = {group for good in goods for group in good.groups}
            flat = len(groups) * Fraction(border.a_group) / terms.there
            self.save += flat * (1 + Fraction(border.tax or 0) / 100)

    def most(self, good: Good, needed: int) -> int:
        """Steps beyond which nothing is saved any more."""
        sizes = [b.quantity for b in good.listing.breaks if b.quantity > good.units(needed)]
        most = max([needed, *(ceil(size / good.step) for size in sizes)])
        sized, each, worth = most, good.cents(most), good.value(most)
        if self.save and each:
            most += floor(self.save * sized / each)
        if self.least and worth:
            most = max(most, ceil(self.least * sized / worth))
        lots = [b.quantity for b in good.listing.breaks if b.per == "lot"]
        return max([most, *(-(-most // size) * size for size in lots)])


def stock_of(programme: Programme, good: Good, most: int, opened: int) -> Stock:
    """The columns of a good in an order that `opened` says is placed."""
    used = programme.column()
    if not good.listing.breaks and (most > TABLE or _is_plain(good)):
        stock = _by_number(programme, good, most, used)
    else:
        stock = _by_table(programme, good, most, used)
    programme.row(added(stock.steps, {used: -float(stock.most)}), high=0.0)
    programme.row(added(stock.steps, {used: -float(good.least)}), low=0.0)
    programme.row({used: 1.0, opened: -1.0}, high=0.0)
    return stock


def _is_plain(good: Good) -> bool:
    """Whether a step costs whole minor units, so that no number of them is rounded."""
    return good.exact(1).denominator == 1


def _by_number(programme: Programme, good: Good, most: int, used: int) -> Stock:
    """One column for the number; its cost follows, rounded where it must be."""
    number = programme.column(float(most))
    each = good.exact(1)
    paid: Lin = {number: float(each)}
    if each.denominator != 1:
        cost = programme.column(float(good.cents(most)))
        programme.at_least(cost, paid, -HALF)
        paid = {cost: 1.0}
    for place, factor in paid.items():
        programme.costs[place] += factor
    value, net = {number: float(good.value(1))}, {number: float(good.at_border(1))}
    return Stock(good, most, {number: 1.0}, used, paid, value, net)


def _by_table(programme: Programme, good: Good, most: int, used: int) -> Stock:
    """One column for each number that may be bought, with what it costs."""
    counts = _counts(good, most)
    columns = {count: programme.column(cost=float(good.cents(count))) for count in counts}
    programme.row({**dict.fromkeys(columns.values(), 1.0), used: -1.0}, high=0.0)
    return Stock(
        good,
        max(counts),
        {place: float(count) for count, place in columns.items()},
        used,
        {place: float(good.cents(count)) for count, place in columns.items()},
        {place: float(good.value(count)) for count, place in columns.items()},
        {place: float(good.at_border(count)) for count, place in columns.items()},
        all_counts=len(counts) == most,
    )


def _counts(good: Good, most: int) -> list[int]:
    """Every number, or those around the ends and the price breaks where there are too many."""
    if most <= LONGEST:
        return list(range(1, most + 1))
    sizes = [ceil(b.quantity / good.step) for b in good.listing.breaks]
    near = {n + k for n in (*sizes, most) for k in range(-20, 21)}
    return sorted({*range(1, LONGEST // 2), *(n for n in near if 0 < n <= most)})
