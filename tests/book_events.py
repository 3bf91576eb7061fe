"""What may happen to goods, at random, and a plain sum of the money beside the program."""

from __future__ import annotations

from contextlib import suppress
from decimal import Decimal

from hypothesis import strategies as st

from service.errors import InputError, NotFoundError
from service.flows import buying, orders, workshop
from service.flows.ordering import Terms, place, read_wanted
from service.flows.orders import Change
from service.model.money import Money

D = Decimal
MORE = """
[build.skua]
name = "Skua"
currency = "EUR"
lines = [{ part = "glue", amount = "60 g", group = "structure" }]
[build.old]
name = "Old one"
currency = "EUR"
state = "finished"
lines = []
[part.resin]
name = "Resin"
unit = "g"
keep = "200 g"
shelf_life = "365 d"
[part.ply]
name = "Plywood 3 mm"
unit = "m2"
"""


def euro(text: str) -> Money:
    return Money(D(text), "EUR")


parts = st.sampled_from(["motor", "glue"])
builds = st.sampled_from(["racer", "skua", "old"])
money = st.decimals("0.01", "99.99", places=2).map(lambda d: Money(d, "EUR"))
counts = st.integers(1, 4).map(D)
keys = st.sampled_from(["o1", "o2"])
events = st.one_of(
    st.tuples(st.just("buy"), parts, counts, money),
    st.tuples(st.just("place"), keys, parts, counts, money, money),
    st.tuples(st.sampled_from(["arrive", "wrong", "cancel"]), keys, parts, counts),
    st.tuples(st.just("back"), keys, parts, counts, money, money),
    st.tuples(st.just("refund"), keys, money),
    st.tuples(st.just("bill"), keys, st.sampled_from(["customs", "carrier", "postage"]), money),
    st.tuples(st.just("use"), parts, counts, builds, st.booleans(), st.booleans()),
    st.tuples(st.just("move"), parts, counts, builds, builds),
    st.tuples(st.just("sell"), parts, counts, st.none() | builds, money, money),
    st.tuples(st.just("write off"), parts, counts, st.none() | builds),
)


class Plain:
    """All money out and in, added up beside the program, without any bookkeeping of places."""

    def __init__(self, deps) -> None:
        self.deps, self.out, self.back = deps, D(0), D(0)
        self.each: dict[tuple[str, str], list[D]] = {}

    def happen(self, event) -> None:
        kind, *rest = event
        with suppress(InputError, NotFoundError):
            getattr(self, "back_" if kind == "back" else kind.replace(" ", "_"))(*rest)

    def buy(self, part, count, price):
        buying.buy(self.deps, part, count, price)
        self.out += price.amount

    def place(self, key, part, count, price, shipping):
        # every unit at a price of whole cents, so that a cancelled part takes whole cents off
        line = read_wanted(f"{count} x {part} @ {price}")
        place(self.deps, [line], Terms(shipping=shipping), key)
        self.out += price.amount * count + shipping.amount
        self.each[key, part] = price.amount

    def arrive(self, key, part, count):
        orders.arrive(self.deps, key, Change(part, count))

    def wrong(self, key, part, count):
        orders.wrong(self.deps, key, Change(part, count))

    def cancel(self, key, part, count):
        orders.cancel(self.deps, key, Change(part, count))
        self.out -= self.each[key, part] * count

    def back_(self, key, part, count, postage, refund):
        orders.give_back(self.deps, key, Change(part, count, money=refund, postage=postage))
        self.out += postage.amount
        self.back += refund.amount

    def refund(self, key, amount):
        orders.refund(self.deps, key, amount, Change())
        self.back += amount.amount

    def bill(self, key, kind, amount):
        orders.bill(self.deps, key, kind, amount)
        self.out += amount.amount

    def use(self, part, count, build, repair, back):
        workshop.use(self.deps, part, f"{count}", build, repair=repair, back=back)

    def move(self, part, count, source, to):
        workshop.move(self.deps, part, f"{count}", source, to)

    def sell(self, part, count, build, amount, postage):
        workshop.sell(self.deps, part, f"{count}", amount, build=build, postage=postage)
        self.back += amount.amount
        self.out += postage.amount

    def write_off(self, part, count, build):
        workshop.write_off(self.deps, part, f"{count}", build=build)
