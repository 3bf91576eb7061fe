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

    def expected(self) -> tuple[list[int], dict[str, tuple[Sold, int]]]:
        """Cents of every line's share, and by part the listing and how many to buy."""
        whole: dict[str, Fraction] = {}
        for key, need, _ in self.needs():
            whole[key] = whole.get(key, F(0)) + need
        chosen = {}
        for key, need in whole.items():
            buy = max(F(0), need - F(self.hand.get(key, 0)))

            def rank(one: Sold, need: Fraction = need, buy: Fraction = buy) -> tuple[object, ...]:
                count = max(1, one.count(need))
                return one.cost(count) / count / one.content, one.cost(one.count(buy)), one.key

            best = min(self.sold[key], key=rank)
            chosen[key] = (best, best.count(buy))
        return self._shares(whole, chosen), chosen

    def _shares(self, whole: dict[str, Fraction], chosen: dict[str, tuple[Sold, int]]) -> list[int]:
        used: dict[str, Fraction] = {}
        found = []
        for key, need, how in self.needs():
            one, before = chosen[key][0], used.get(key, F(0))
            count = max(1, one.count(whole[key]))
            each = one.cost(count) / count
            used[key] = before + need
            opened = one.count(before + need) - one.count(before)
            share = {
                "share": need / one.content * each,
                "whole": opened * each,
                "shared 3": need / one.content * each / 3,
                "tool": F(0),
            }[how]
            found.append(int(share * 100 + F(1, 2)))
        return found


@given(st.integers(0, 1_000_000))
@settings(max_examples=60, deadline=None)
def test_every_line_is_what_plain_sums_say(seed: int) -> None:
    world = World(seed)
    cost, (shares, chosen) = world.cost(), world.expected()
    assert [int((x.share or 0) * 100) for x in cost.lines] == shares
    for key, (one, count) in chosen.items():
        mine = [x for x in cost.lines if x.part == key]
        assert {x.listing.key for x in mine if x.listing} == {one.key}
        assert sum(x.buy for x in mine) == count
        spent = sum((F(x.to_spend or 0) for x in mine), F(0))
        assert abs(spent - one.cost(count)) <= F(len(mine), 200)  # each line rounds by half a cent
    assert cost.totals.share == sum((x.share or D(0) for x in cost.lines), D(0))
