"""One order of a plan as rows and columns: delivery, fees, what it costs at the border.

Every way in which a place may charge an order is an order of its own in the programme (of
which one at most is placed): a row of the delivery table, below or above the border's limit.
So no row needs a large number that switches it off, and the relaxed programme is tight.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from service.builds.border import Border
from service.builds.cents import to_cents
from service.builds.delivery import Tier
from service.builds.plan_milp import HALF, Lin, Programme, added, total
from service.builds.plan_stock import Stock
from service.builds.plan_terms import Manner, Terms, unknown_groups
from service.model.catalogue import Fee, ShippingRow
from service.model.money import quantum

MORE = 0.001  # of a unit of money or a gram: what is more than a limit


class Order:
    """Writes what an order that is charged in one manner costs."""

    def __init__(
        self,
        programme: Programme,
        terms: Terms,
        manner: Manner,
        opened: int,
        stocks: Sequence[Stock],
    ) -> None:
        self.programme, self.terms, self.manner = programme, terms, manner
        self.opened, self.stocks = opened, stocks
        self.value = total(stock.value for stock in stocks)
        self.grams = total(_times(s.steps, float(s.good.grams)) for s in stocks)
        self.net = total(stock.net for stock in stocks)
        self.carriage: Lin = {}  # minor units, unrounded

    def write(self) -> None:
        """Its rows, and its costs beside those of the goods."""
        used = {stock.used: -1.0 for stock in self.stocks}
        self.programme.row({self.opened: 1.0, **used}, high=0.0)
        if self.terms.shop.min_order:
            self._least(self.value, float(self.terms.shop.min_order), self.opened)
        if self.manner.tier is None:
            self._unknown()
            return
        self._delivery(self.manner.tier)
        for fee in self.terms.fees:
            self._fee(fee)
        self._paying()
        if self.terms.border is not None:
            self._border(self.terms.border)

    def _least(self, terms: Lin, amount: float, when: int) -> None:
        """Where the column is 1 the expression is at least so much."""
        self.programme.row(added(terms, {when: -amount}), low=0.0)

    def _at_most(self, terms: Lin, amount: float) -> None:
        """An order is worth or weighs at most so much."""
        self.programme.row(added(terms, {self.opened: -amount}), high=0.0)

    def _with(self, stocks: Iterable[Stock]) -> int:
        """A column that is 1 exactly where any of the goods is in the order."""
        mine = [stock.used for stock in stocks]
        if len(mine) == 1:
            return mine[0]
        place = self.programme.column()
        self.programme.is_any(place, mine)
        return place

    def _of_class(self, name: str) -> list[Stock]:
        return [stock for stock in self.stocks if name in stock.good.classes]

    def _cents(self, amount: Fraction) -> float:
        """Minor units of what the shop charges, rounded."""
        step = quantum(self.terms.currency)
        exact = amount * self.terms.factor * Fraction(step)
        return float(to_cents(exact, self.terms.currency) / step)

    def _charge(self, amount: Fraction, when: int) -> None:
        """A sum in the shop's currency where the column is 1."""
        self.programme.costs[when] += self._cents(amount)
        more = float(amount * self.terms.factor)
        self.carriage[when] = self.carriage.get(when, 0.0) + more

    def _delivery(self, tier: Tier) -> None:
        row = tier.row
        self._charge(Fraction(tier.fee), self.opened)
        if tier.needs:
            mine = [s.used for s in self.stocks if tier.needs & s.good.classes]
            self.programme.row({self.opened: 1.0} | dict.fromkeys(mine, -1.0), high=0.0)
        if tier.over is not None:
            self._least(self.value, float(tier.over), self.opened)
        if row.up_to is not None:
            self._at_most(self.value, float(row.up_to))
        if row.up_to_g is not None:
            self._at_most(self.grams, float(row.up_to_g))
        for other in tier.before:
            self._beyond(other, weighed_only=False)

    def _beyond(self, row: ShippingRow, also: Iterable[int] = (), *, weighed_only: bool) -> None:
        """The order is beyond one of the row's limits, or one of the columns `also` is 1.

        Goods of unknown mass are beyond every limit, unless `weighed_only`.
        """
        ways = list(also)
        if row.up_to is not None:
            ways.append(self.programme.column())
            self._least(self.value, float(row.up_to) + MORE, ways[-1])
        if row.up_to_g is not None:
            ways.append(self.programme.column())
            self._least(self.grams, float(row.up_to_g) + MORE, ways[-1])
            if not weighed_only:
                ways += [stock.used for stock in self.stocks if not stock.good.weighed]
        terms = {self.opened: 1.0} | dict.fromkeys(ways, -1.0)
        self.programme.row(terms, high=0.0)

    def _unknown(self) -> None:
        """What makes it an order that nobody can tell the charges of."""
        if self.manner.why == "no row":
            for tier in self.terms.tiers:
                if tier.over is None:
                    self._fails(tier)
        border = self.terms.border
        if self.manner.why == "duty" and border is not None:
            lost = {g.listing.key for g in unknown_groups((s.good for s in self.stocks), border)}
            mine = [s.used for s in self.stocks if s.good.listing.key in lost]
            self.programme.row({self.opened: 1.0} | dict.fromkeys(mine, -1.0), high=0.0)
            self._limit(border)

    def _fails(self, tier: Tier) -> None:
        """The row does not take the order: its goods, its mass or its value forbid it."""
        also = [s.used for name in sorted(tier.bars) for s in self._of_class(name)]
        if tier.needs:
            lacks = self.programme.column()
            for stock in self.stocks:
                if tier.needs & stock.good.classes:
                    self.programme.row({lacks: 1.0, stock.used: 1.0}, high=1.0)
            also.append(lacks)
        self._beyond(tier.row, also, weighed_only=tier.heaviest)

    def _fee(self, fee: Fee) -> None:
        """A sum with every order, a sum with goods of a class, or a part of the value."""
        when = self.opened
        if fee.when_class:
            mine = self._of_class(fee.when_class)
            if not mine:
                return
            when = self._with(mine)
        if fee.percent:
            self._percent(fee, when)
        else:
            self._charge(Fraction(fee.amount or 0), when)

    def _percent(self, fee: Fee, when: int) -> None:
        """Of the value; the sum is rounded to cents, what the border counts is not."""
        factor = float(Fraction(fee.percent or 0) / 100 * self.terms.factor)
        due = _times(self.value, factor)
        most = self._most(due) + 1.0
        cost = self.programme.column(most, cost=1.0)
        exact = self.programme.column(most, whole=False)
        slack = 0.0
        if when != self.opened:
            due, slack = added(due, {when: most}), most
        self.programme.at_least(cost, due, -HALF - slack)
        self.programme.at_least(exact, due, -slack)
        self.carriage[exact] = 1.0

    def _paying(self) -> None:
        """The fee of paying in foreign money, once an order."""
        abroad = [s for s in self.stocks if s.good.quote.offer.currency != self.terms.account]
        if self.terms.paying and abroad:
            every = len(abroad) == len(self.stocks)
            when = self.opened if every else self._with(abroad)
            self.programme.costs[when] += self.terms.paying

    def _border(self, border: Border) -> None:
        """Duty, tax and the carrier's fee, less the tax that the goods' prices hold already."""
        self._limit(border)
        duty, tax = self._duty(border), float(Fraction(border.tax or 0) / 100)
        base = total((self.net, self.carriage, duty))
        room = self._most(base)
        due = self.programme.column(tax * room + 1.0)
        self.programme.at_least(due, _times(base, tax), -HALF)
        held = self.programme.column(tax * room + 1.0, cost=-1.0)
        taxed = [_times(s.net, float(s.good.quote.tax) / 100) for s in self.stocks]
        self.programme.row(added({held: 1.0}, total(taxed), -1.0), high=0.5)
        self._levied(added(duty, {due: 1.0}), 2.0 * room + 1.0, border)

    def _levied(self, due: Lin, room: float, border: Border) -> None:
        """Duty and tax with the carrier's fee; nothing where they are too small to be levied."""
        handling, least = self.terms.cents(border.handling), self.terms.cents(border.not_under)
        if not least and border.tax:  # then something is always due
            for place, factor in due.items():
                self.programme.costs[place] += factor
            self.programme.costs[self.opened] += handling
            return
        waived = self.programme.column()
        self.programme.row(added(due, {waived: room}), high=max(0.0, least - 1.0) + room)
        charged = self.programme.column(room + handling, cost=1.0)
        both = added(due, {self.opened: float(handling)})
        self.programme.at_least(charged, added(both, {waived: -room - handling}))

    def _most(self, terms: Lin) -> float:
        return sum(max(0.0, n) * self.programme.ceilings[place] for place, n in terms.items())

    def _limit(self, border: Border) -> None:
        """The goods' value is within the rule's limit, or above it."""
        if border.up_to is None:
            return
        worth, limit = _times(self.net, float(self.terms.there)), float(border.up_to)
        if self.manner.above:
            self._least(worth, limit + MORE / 10, self.opened)
        else:
            self._at_most(worth, limit)

    def _duty(self, border: Border) -> Lin:
        """Flat for each tariff group within the limit, else a part of goods and delivery."""
        if self.manner.above is False:
            return self._flat(border)
        rates: list[Lin] = [_times(self.carriage, float(Fraction(border.percent or 0) / 100))]
        for stock in self.stocks:
            shares = stock.good.groups.items()
            rate = sum(float(part) * float(border.rate_of(g) or 0) / 100 for g, part in shares)
            rates.append(_times(stock.net, rate))
        expression = total(rates)
        if not any(expression.values()):
            return {}
        duty = self.programme.column(self._most(expression) + 1.0)
        self.programme.at_least(duty, expression, -HALF)
        return {duty: 1.0}

    def _flat(self, border: Border) -> Lin:
        each = Fraction(border.a_group) / self.terms.there
        if not each:
            return {}
        groups = sorted({group for stock in self.stocks for group in stock.good.groups})
        places = [self._with(s for s in self.stocks if g in s.good.groups) for g in groups]
        flat = total({place: float(each)} for place in places)
        if each.denominator == 1:
            return flat
        duty = self.programme.column(float(each) * len(groups) + 1.0)
        self.programme.at_least(duty, flat, -HALF)
        return {duty: 1.0}


def _times(terms: Lin, factor: float) -> Lin:
    return {place: factor * value for place, value in terms.items()}
