"""Whole builds against a plain reckoning that knows nothing of the project's own.

The rules are those of trade: half a package counts half, a whole one is bought; a price break
holds from its quantity on, a lot for exactly its quantity; tax rates of Directive 2006/112/EC
as in force in 2026 (NL 21, DE 19, FR 20 %) and of the UK (20 %), taken off and put on;
units of a currency for one euro divide (Regulation (EC) 1103/97, Art. 4); half cents go up
(Art. 5).
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil

from builds_kit import Shop, brk, build, line, part, rates
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds.cost import BuildCost, price_build
from service.builds.view import Stock
from service.model.catalogue import Break

D, F = Decimal, Fraction
TAX = {"nl": F(21, 100), "de": F(19, 100), "fr": F(20, 100), "gb": F(20, 100)}
RATE = {"EUR": F(1), "USD": F(5, 4), "GBP": F(4, 5)}
TIERS = ((), (), (), ((2, "each"),), ((3, "lot"),), ((2, "lot"), (5, "each")))


@dataclass
class Sold:
    key: str
    content: Fraction
    price: Fraction
    breaks: tuple[Break, ...]
    factor: Fraction  # to EUR with tax

    def cost(self, count: int) -> Fraction:
        """Of so many packages, by trying every way to put lots together."""
        each = [b.price for b in self.breaks if b.per == "each" and b.quantity <= count]
        single = min([self.price, *map(F, each)])
        lots = [b for b in self.breaks if b.per == "lot"]
        best = [F(0)]
        for n in range(1, count + 1):
            ways = [best[n - b.quantity] + F(b.price) for b in lots if b.quantity <= n]
            best.append(min([best[n - 1] + single, *ways]))
        return best[count] * self.factor

    def count(self, need: Fraction) -> int:
        return ceil(need / self.content) if need > 0 else 0

    def each(self, need: Fraction) -> Fraction:
        count = max(1, self.count(need))
        return self.cost(count) / count


class World:
    """An invented catalogue and build of one seed, and what it must cost."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.parts = [part(f"p{k}", self.rng.choice(["piece", "m", "g"])) for k in range(4)]
        self.shop = Shop(*self.parts)
        self.net = {key: self.rng.random() < 0.5 for key in TAX}
        for key, net in self.net.items():
            self.shop.supplier(
                key, country=key.upper(), prices="without-tax" if net else "with-tax"
            )
        self.to = self.rng.choice([None, "DE", "FR"])
        self.markup = self.rng.choice(["0", "0.015"])
        self.sold = {p.key: [self._sell(p.key, p.unit) for _ in range(3)] for p in self.parts}
        self.lines = [self._line() for _ in range(self.rng.randint(1, 6))]
        self.hand = {
            p.key: D(self.rng.randint(0, 3)) for p in self.parts if self.rng.random() < 0.5
        }

    def _sell(self, key: str, unit: str) -> Sold:
        rng = self.rng
        content = rng.choice(["1", "2", "10"] if unit == "piece" else ["1", "2", "2.5", "10"])
        price, shop = D(rng.randint(50, 5000)) / 100, rng.choice(list(TAX))
        currency, tiers = rng.choice(list(RATE)), []
        for quantity, per in rng.choice(TIERS):
            amount = price * (quantity * D("0.8") if per == "lot" else D("0.9"))
            tiers.append(brk(quantity, str(amount.quantize(D("0.01"))), per))
        entry = self.shop.sell(
            key, f"{content} {unit}", str(price), shop, currency=currency, breaks=tuple(tiers)
        )
        abroad = 1 + F(self.markup) if currency != "EUR" else F(1)
        tax = F(1) if self.net[shop] else 1 / (1 + TAX[shop])
        tax *= 1 + TAX[(self.to or shop).lower()]
        return Sold(entry.key, F(content), F(price), entry.breaks, abroad / RATE[currency] * tax)

    def _line(self) -> tuple[str, str, Decimal, Decimal, str]:
        rng, one = self.rng, self.rng.choice(self.parts)
        piece = one.unit == "piece"
        need = D(rng.randint(1, 9)) if piece else D(rng.randint(1, 900)) / rng.choice([10, 100])
        waste = D(0) if piece else rng.choice([D(0), D("0.1")])
        return one.key, one.unit, need, waste, rng.choice(["share", "whole", "shared 3", "tool"])

    def cost(self) -> BuildCost:
        lines = [line(k, f"{n} {u}", counts=c, waste=w) for k, u, n, w, c in self.lines]
        view = self.shop.view(
            rates=rates(USD="1.25", GBP="0.8"),
            markup=D(self.markup),
            account="EUR",
            on_hand={key: Stock(amount) for key, amount in self.hand.items()},
        )
        return price_build(build(*lines, destination=self.to), view)

    def needs(self) -> list[tuple[str, Fraction, str]]:
        return [(key, F(need) * (1 + F(waste)), how) for key, _, need, waste, how in self.lines]

    def expected(self) -> tuple[list[int], dict[str, int]]:
        """Cents of every line's share, and how many to buy by listing."""
        needs, buys = self.needs(), self._to_buy()
        chosen = [self._choice(place) for place in range(len(needs))]
        total: dict[str, Fraction] = {}
        asked: dict[str, Fraction] = {}
        for (_, need, _), buy, one in zip(needs, buys, chosen, strict=True):
            total[one.key] = total.get(one.key, F(0)) + need
            asked[one.key] = asked.get(one.key, F(0)) + buy
        used: dict[str, Fraction] = {}
        found = []
        for (_, need, how), one in zip(needs, chosen, strict=True):
            before = used.get(one.key, F(0))
            used[one.key] = before + need
            opened = one.count(before + need) - one.count(before)
            each = one.each(total[one.key])
            share = {
                "share": need / one.content * each,
                "whole": opened * each,
                "shared 3": need / one.content * each / 3,
                "tool": F(0),
            }[how]
            found.append(int(share * 100 + F(1, 2)))
        self.listings = [one.key for one in chosen]
        self.costs = {one.key: one.cost(one.count(asked[one.key])) for one in chosen}
        return found, {one.key: one.count(asked[one.key]) for one in chosen}

    def _to_buy(self) -> list[Fraction]:
        """What is on hand goes to the lines in their order."""
        hand = {key: F(amount) for key, amount in self.hand.items()}
        found = []
        for key, need, _ in self.needs():
            taken = min(need, hand.get(key, F(0)))
            hand[key] = hand.get(key, F(0)) - taken
            found.append(need - taken)
        return found

    def _choice(self, place: int) -> Sold:
        """What counts whole asks what whole packages cost, the rest what a unit costs."""
        needs, buys = self.needs(), self._to_buy()
        key, whole = needs[place][0], needs[place][2] == "whole"
        rows = zip(needs, buys, strict=True)
        alike = [(n, b) for (k, n, how), b in rows if k == key and (how == "whole") == whole]
        need, buy = (sum(column, F(0)) for column in zip(*alike, strict=True))

        def rank(one: Sold) -> tuple[object, ...]:
            unit = one.each(need) / one.content
            first = one.cost(one.count(need)) if whole else unit
            return first, one.cost(one.count(buy)), unit, one.key

        return min(self.sold[key], key=rank)


@given(st.integers(0, 1_000_000))
@settings(max_examples=60, deadline=None)
def test_every_line_is_what_plain_sums_say(seed: int) -> None:
    world = World(seed)
    cost, (shares, buys) = world.cost(), world.expected()
    assert [int((x.share or 0) * 100) for x in cost.lines] == shares
    assert [x.listing.key for x in cost.lines if x.listing] == world.listings
    for key, count in buys.items():
        mine = [x for x in cost.lines if x.listing and x.listing.key == key]
        assert sum(x.buy for x in mine) == count
        spent = sum((F(x.to_spend or 0) for x in mine), F(0))
        assert abs(spent - world.costs[key]) <= F(len(mine), 200)  # lines round by half a cent
    assert cost.totals.share == sum((x.share or D(0) for x in cost.lines), D(0))
