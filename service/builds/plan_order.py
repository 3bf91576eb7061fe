"""One order of a plan as rows and columns: delivery, fees, what it costs at the border."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from service.builds.cents import to_cents
from service.builds.delivery import Tier
from service.builds.plan_milp import HALF, Lin, Programme, added, total
from service.builds.plan_stock import Stock
from service.builds.plan_terms import Terms, unknown_groups
from service.model.catalogue import Fee, ShippingRow
from service.model.money import quantum

MORE = 0.001  # of a unit of money or a gram: what is more than a limit


class Order:
    """Writes the charges of one order; each column and row is told where it is made."""

    def __init__(
        self, programme: Programme, terms: Terms, opened: int, stocks: Sequence[Stock]
    ) -> None:
        self.programme, self.terms, self.opened, self.stocks = programme, terms, opened, stocks
        self.value = total(stock.value for stock in stocks)
        self.most_value = sum(float(s.good.value(s.most)) for s in stocks)
        self.classes: dict[str, int] = {}
        self.known: Lin = {}  # 1 where the charges can be told
        self.carriage: Lin = {}  # minor units, unrounded
        self.unknown: list[int] = []

    def write(self) -> list[int]:
        """All that the order is charged; answers columns that are 1 where it cannot be told."""
        used = {stock.used: -1.0 for stock in self.stocks}
        self.programme.row({self.opened: 1.0, **used}, high=0.0)
        self._least()
        if not self.terms.known:
            return [self.opened]
        self._classes()
        self._delivery()
        for fee in self.terms.fees:
            self._fee(fee)
        self._paying()
        if self.terms.border is not None:
            self._border()
        return self.unknown

    def _least(self) -> None:
        least = self.terms.shop.min_order
        if least:
            self.programme.row(added(self.value, {self.opened: -float(least)}), low=0.0)

    def _with(self, stocks: Iterable[Stock]) -> int:
        """A column that is 1 exactly where any of the goods is in the order."""
        place = self.programme.column()
        self.programme.is_any(place, [stock.used for stock in stocks])
        return place

    def _classes(self) -> None:
        named = {name for t in self.terms.tiers for name in t.needs | t.bars}
        named |= {fee.when_class for fee in self.terms.fees if fee.when_class}
        for name in sorted(named):
            self.classes[name] = self._with(s for s in self.stocks if name in s.good.classes)

    def _delivery(self) -> None:
        """Exactly one row of the table counts, else why none does."""
        rows = [tier.row for tier in self.terms.tiers]
        self.grams = total(_times(s.steps, float(s.good.grams)) for s in self.stocks)
        self.most_grams = sum(float(s.good.grams) * s.most for s in self.stocks)
        self.unweighed: int | None = None
        if any(row.up_to_g is not None for row in rows):
            self.unweighed = self._with(s for s in self.stocks if not s.good.weighed)
        for tier in self.terms.tiers:
            self._tier(tier)
        lost = self.programme.column()
        self._no_row(lost)
        self.unknown.append(lost)
        one = added(self.known, {lost: 1.0, self.opened: -1.0})
        if self.terms.border is not None:
            dear = self._unknown_duty()
            one = added(one, {dear: 1.0})
        self.programme.row(one, low=0.0, high=0.0)

    def _cents(self, amount: Fraction) -> float:
        """Minor units of what the shop charges, rounded."""
        step = quantum(self.terms.currency)
        exact = amount * self.terms.factor * Fraction(step)
        return float(to_cents(exact, self.terms.currency) / step)

    def _tier(self, tier: Tier) -> None:
        fee, row = Fraction(tier.fee), tier.row
        place = self.programme.column(cost=self._cents(fee))
        self.known[place] = 1.0
        self.carriage[place] = float(fee * self.terms.factor)
        if tier.needs:
            self.programme.row(added({place: 1.0}, self._any_of(tier.needs), -1.0), high=0.0)
        for name in sorted(tier.bars):
            self.programme.row({place: 1.0, self.classes[name]: 1.0}, high=1.0)
        if tier.over is not None:
            self._over(place, float(tier.over))
        self._limits(place, row)
        if self.unweighed is not None and not tier.heaviest:
            self.programme.row({place: 1.0, self.unweighed: 1.0}, high=1.0)
        for other in tier.before:
            self._beyond(place, other)

    def _any_of(self, names: Iterable[str]) -> Lin:
        return {self.classes[name]: 1.0 for name in names}

    def _over(self, place: int, value: float) -> None:
        """Where the column is 1 the order's value is at least this."""
        self.programme.row(added(self.value, {place: -value}), low=0.0)

    def _limits(self, place: int, row: ShippingRow) -> None:
        """Where the column is 1 value and mass are within the row's limits."""
        if row.up_to is not None:
            slack = max(0.0, self.most_value - float(row.up_to))
            high = float(row.up_to) + slack
            self.programme.row(added(self.value, {place: slack}), high=high)
        if row.up_to_g is not None:
            slack = max(0.0, self.most_grams - float(row.up_to_g))
            high = float(row.up_to_g) + slack
            self.programme.row(added(self.grams, {place: slack}), high=high)

    def _beyond(self, place: int, row: ShippingRow, also: Iterable[int] = ()) -> None:
        """Where the column is 1 the order is beyond one of the row's limits, or `also` holds."""
        ways = list(also)
        if row.up_to is not None:
            ways.append(self.programme.column())
            self._over(ways[-1], float(row.up_to) + MORE)
        if row.up_to_g is not None:
            heavy = self.programme.column()
            above = float(row.up_to_g) + MORE
            self.programme.row(added(self.grams, {heavy: -above}), low=0.0)
            ways.append(heavy)
            if self.unweighed is not None:
                ways.append(self.unweighed)
        terms = {place: 1.0} | dict.fromkeys(ways, -1.0)
        self.programme.row(terms, high=0.0)

    def _no_row(self, place: int) -> None:
        """Where the column is 1 no row of the table takes the order."""
        for tier in self.terms.tiers:
            if tier.over is not None:
                continue
            also = [self.classes[name] for name in sorted(tier.bars)]
            if tier.needs:
                lacks = self.programme.column()
                for name in sorted(tier.needs):
                    self.programme.row({lacks: 1.0, self.classes[name]: 1.0}, high=1.0)
                also.append(lacks)
            if tier.heaviest and tier.row.up_to_g is not None:
                self._too_heavy(place, tier.row, also)
            else:
                self._beyond(place, tier.row, also)

    def _too_heavy(self, place: int, row: ShippingRow, also: list[int]) -> None:
        """As `_beyond`, of the last row: goods of unknown mass are no reason."""
        kept, self.unweighed = self.unweighed, None
        self._beyond(place, row, also)
        self.unweighed = kept

    def _fee(self, fee: Fee) -> None:
        """A sum with every order, a sum with goods of a class, or a part of the value."""
        if fee.percent:
            self._percent(fee)
            return
        amount = Fraction(fee.amount or 0)
        cost = self._cents(amount)
        if not fee.when_class:
            for place in self.known:
                self.programme.costs[place] += cost
                self.carriage[place] += float(amount * self.terms.factor)
            return
        due = self._due(self.classes[fee.when_class], cost)
        self.carriage[due] = float(amount * self.terms.factor)

    def _due(self, when: int, cost: float) -> int:
        """A column that is 1 where the order is told and `when` is 1."""
        due = self.programme.column(cost=cost)
        self.programme.row(added({due: 1.0, when: -1.0}, self.known, -1.0), low=-1.0)
        self.programme.row({due: 1.0, when: -1.0}, high=0.0)
        return due

    def _percent(self, fee: Fee) -> None:
        """Of the value; the sum is rounded to cents, what the border counts is not."""
        factor = float(Fraction(fee.percent or 0) / 100 * self.terms.factor)
        due = _times(self.value, factor)
        most = self.most_value * factor + 1.0
        cost = self.programme.column(most, cost=1.0)
        exact = self.programme.column(most, whole=False)
        off = dict.fromkeys(self.known, -most)
        if fee.when_class:
            off[self.classes[fee.when_class]] = -most
        slack = most * (2.0 if fee.when_class else 1.0)
        shift = _times(off, -1.0)
        self.programme.at_least(cost, added(due, shift), -HALF - slack)
        self.programme.at_least(exact, added(due, shift), -slack)
        self.carriage[exact] = 1.0

    def _paying(self) -> None:
        """The fee of paying in foreign money, once an order."""
        if not self.terms.paying:
            return
        abroad = [s for s in self.stocks if s.good.quote.offer.currency != self.terms.account]
        if abroad:
            self._due(self._with(abroad), float(self.terms.paying))

    def _unknown_duty(self) -> int:
        """A column that is 1 where the order is above the limit with goods of unknown duty."""
        border = self.terms.border
        dear = self.programme.column()
        self.unknown.append(dear)
        self.within = self.programme.column(1.0 if border and border.up_to is not None else 0.0)
        lost = unknown_groups([stock.good for stock in self.stocks], border)
        keys = {good.listing.key for good in lost}
        places = [s.used for s in self.stocks if s.good.listing.key in keys]
        for used in places:
            self.programme.row({used: 1.0, self.within: -1.0, dear: -1.0}, high=0.0)
        self.programme.row({dear: 1.0, self.within: 1.0}, high=1.0)
        self.programme.row({dear: 1.0} | dict.fromkeys(places, -1.0), high=0.0)
        return dear

    def _border(self) -> None:
        """Duty, tax and the carrier's fee, less the tax that the goods' prices hold already."""
        border, terms, programme = self.terms.border, self.terms, self.programme
        if border is None:
            return
        net = total(stock.net for stock in self.stocks)
        most = sum(float(s.good.at_border(s.most)) for s in self.stocks)
        self._within(net, most)
        tax = float(Fraction(border.tax or 0) / 100)
        room = 2.0 * (most + self._most(self.carriage)) + 10_000.0
        duty = self._duty(room)
        base = total((net, self.carriage, {duty: 1.0}))
        due = programme.column(room)
        programme.at_least(due, added(_times(base, tax), self.known, room), -HALF - room)
        held = programme.column(room, cost=-1.0)
        programme.row(added({held: 1.0}, net, -tax), high=0.5)
        programme.row(added({held: 1.0}, self.known, -room), high=0.0)
        handling = float(terms.cents(border.handling))
        waived = programme.column()
        limit = max(0.0, float(terms.cents(border.not_under)) - 1.0)
        programme.row({duty: 1.0, due: 1.0, waived: room}, high=limit + room)
        charged = programme.column(2.0 * room, cost=1.0)
        terms_ = {duty: 1.0, due: 1.0, waived: -room} | _times(self.known, handling)
        programme.at_least(charged, terms_)

    def _most(self, terms: Lin) -> float:
        return sum(factor * self.programme.ceilings[place] for place, factor in terms.items())

    def _within(self, net: Lin, most: float) -> None:
        """`within` is 1 exactly where the goods' value is within the rule's limit."""
        border = self.terms.border
        if border is None or border.up_to is None:
            return
        there = float(self.terms.there)
        worth, limit = _times(net, there), float(border.up_to)
        slack = max(0.0, most * there - limit)
        self.programme.row(added(worth, {self.within: slack}), high=limit + slack)
        low = limit + MORE / 10
        self.programme.row(added(worth, {self.within: low}), low=low)

    def _duty(self, room: float) -> int:
        """Flat for each tariff group within the limit, else a part of goods and delivery."""
        border, programme = self.terms.border, self.programme
        duty = programme.column(room)
        if border is None:
            return duty
        off = added(_times(self.known, room), {self.within: -room})
        rates: list[Lin] = [_times(self.carriage, float(Fraction(border.percent or 0) / 100))]
        for stock in self.stocks:
            shares = stock.good.groups.items()
            rate = sum(float(part) * float(border.rate_of(g) or 0) / 100 for g, part in shares)
            rates.append(_times(stock.net, rate))
        programme.at_least(duty, added(total(rates), off), -HALF - room)
        if border.a_group and border.up_to is not None:
            self._flat(duty, float(Fraction(border.a_group) / self.terms.there))
        return duty

    def _flat(self, duty: int, each: float) -> None:
        groups = sorted({group for stock in self.stocks for group in stock.good.groups})
        places = [self._with(s for s in self.stocks if g in s.good.groups) for g in groups]
        room = each * len(groups) * 1.0
        terms = added(dict.fromkeys(places, each), self.known, room)
        terms = added(terms, {self.within: room})
        self.programme.at_least(duty, terms, -HALF - 2.0 * room)


def _times(terms: Lin, factor: float) -> Lin:
    return {place: factor * value for place, value in terms.items()}
