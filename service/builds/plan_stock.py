"""How many of a listing an order plan buys, as columns with what they cost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from service.builds.plan_goods import Good
from service.builds.plan_milp import HALF, Lin, Programme, added
from service.builds.plan_terms import Manner, Terms

TABLE = 24  # numbers of a listing that are told apart one by one
LONGEST = 400  # the same where prices for several make it necessary


@dataclass(slots=True)
class Stock:
    """A good's columns in one order. `steps`: how many are bought, `used`: whether any is;
    the others are expressions: value in the shop's currency, minor units at the border.
    `needed`: columns of the steps that may serve wants, each with the most that it stands for.
    """

    good: Good
    most: int
    steps: Lin
    used: int
    value: Lin
    net: Lin
    needed: Mapping[int, int]
    numbers: frozenset[int] = frozenset()  # columns that count steps one by one
    all_counts: bool = True

    def covers(self, part: str, asked: Fraction) -> Lin:
        """What it brings of a part, as parts of what is asked for; more counts no more."""
        held = self.good.holds.get(part)
        if not held:
            return {}
        return {
            place: float(min(held * (1 if place in self.numbers else count), asked) / asked)
            for place, count in self.needed.items()
        }


class Spare:
    """How many more steps than needed may pay: because an order of higher value is sent for
    less, or is large enough at all. (Nobody buys more to get beyond the border's limit.)
    """

    def __init__(self, terms: Terms, manner: Manner) -> None:
        self.least = Fraction(terms.shop.min_order or 0)
        self.save = Fraction(0)
        tier = manner.tier
        if tier is not None and (tier.over is not None or tier.before):
            self.save += Fraction(max(t.fee for t in terms.tiers) - tier.fee) * terms.factor
        if terms.border is not None:  # what is not paid for delivery bears no duty and tax
            for percent in (terms.border.percent, terms.border.tax):
                self.save *= 1 + Fraction(percent or 0) / 100

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


def stock_of(programme: Programme, good: Good, needed: int, most: int, opened: int) -> Stock:
    """The columns of a good in an order that `opened` says is placed.

    `needed` steps serve wants, what is beyond serves the order's value alone.
    """
    used = programme.column()
    if not good.listing.breaks and (most > TABLE or good.exact(1).denominator == 1):
        stock = _by_number(programme, good, needed, most, used)
    else:
        stock = _by_table(programme, good, most, used)
    if good.least > 1:
        programme.row(added(stock.steps, {used: -float(good.least)}), low=0.0)
    else:
        programme.row(added(stock.steps, {used: -1.0}), low=0.0)
    programme.row({used: 1.0, opened: -1.0}, high=0.0)
    return stock


def _by_number(programme: Programme, good: Good, needed: int, most: int, used: int) -> Stock:
    """A column for the number needed and one for more; the cost is rounded where it must be."""
    columns = {programme.column(float(needed)): needed}
    numbers = frozenset(columns)
    if most > needed:
        columns[programme.column(float(most - needed))] = most - needed
    for place, count in columns.items():
        programme.row({place: 1.0, used: -float(count)}, high=0.0)
    each, steps = good.exact(1), dict.fromkeys(columns, 1.0)
    paid: Lin = dict.fromkeys(columns, float(each))
    if each.denominator != 1:
        cost = programme.column(float(good.cents(most)))
        programme.at_least(cost, paid, -HALF)
        paid = {cost: 1.0}
    for place, factor in paid.items():
        programme.costs[place] += factor
    value = dict.fromkeys(columns, float(good.value(1)))
    net = dict.fromkeys(columns, float(good.at_border(1)))
    mine = dict.fromkeys(numbers, needed)
    return Stock(good, most, steps, used, value, net, mine, numbers=numbers)


def _by_table(programme: Programme, good: Good, most: int, used: int) -> Stock:
    """One column for each number that may be bought, with what it costs."""
    counts = _counts(good, most)
    columns = {programme.column(cost=float(good.cents(count))): count for count in counts}
    programme.row(dict.fromkeys(columns, 1.0) | {used: -1.0}, low=0.0, high=0.0)
    return Stock(
        good,
        max(counts),
        {place: float(count) for place, count in columns.items()},
        used,
        {place: float(good.value(count)) for place, count in columns.items()},
        {place: float(good.at_border(count)) for place, count in columns.items()},
        columns,
        all_counts=len(counts) == most,
    )


def _counts(good: Good, most: int) -> list[int]:
    """Every number, or those around the ends and the price breaks where there are too many."""
    if most <= LONGEST:
        return list(range(1, most + 1))
    sizes = [ceil(b.quantity / good.step) for b in good.listing.breaks]
    near = {n + k for n in (*sizes, most) for k in range(-20, 21)}
    return sorted({*range(1, LONGEST // 2), *(n for n in near if 0 < n <= most)})
