"""Where every bought amount and every unit of money went.

Amounts are in the part's base unit, first in first out. A late bill (customs, carrier's
handling) is shared over the lines of its order by their price, also over what has been
used already. All money out equals builds + repairs + on hand + on its way + wrong +
returned + sold + written off + postage; `Statement.buckets` says so exactly.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from service.builds.cents import number_text, to_cents
from service.builds.heap import Heap, Lot, worth
from service.builds.view import Stock
from service.model.money import quantum
from service.model.orders import Purchase

State = Literal["ordered", "part arrived", "arrived", "wrong", "cancelled", "returned", "refunded"]
BillKind = Literal["postage", "customs", "carrier", "fee"]

COMING: Final = frozenset({"ordered", "part arrived"})


@dataclass(frozen=True, slots=True)
class Bought:
    """A line of an order, or a purchase over the counter. `cost`: what was debited for it.

    `arrived` counts where the state is `part arrived`. A cancelled line cost nothing.
    `source` numbers the purchase that it is a portion of, from its base unit `start` on.
    """

    part: str
    amount: Decimal | Fraction
    cost: Decimal | Fraction
    on: date
    order: str | None = None
    state: State = "arrived"
    arrived: Decimal = Decimal(0)
    source: int = 0
    start: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Bill:
    """Money asked for an order as a whole, on the day or later."""

    order: str
    kind: BillKind
    cost: Decimal
    on: date


@dataclass(frozen=True, slots=True)
class Used:
    """A build (or its repair) takes an amount; `amount` below 0 puts some back on hand."""

    part: str
    amount: Decimal
    build: str
    on: date
    repair: bool = False


@dataclass(frozen=True, slots=True)
class Left:
    """An amount leaves for good, from hand or out of a build. `money`: proceeds or refund."""

    part: str
    amount: Decimal
    how: Literal["sold", "written off", "returned"]
    on: date
    build: str | None = None
    money: Decimal = Decimal(0)
    postage: Decimal = Decimal(0)
    repair: bool = False


@dataclass(frozen=True, slots=True)
class Moved:
    """An amount goes from one build into another, at what it cost."""

    part: str
    amount: Decimal
    build: str
    to: str
    on: date
    repair: bool = False


SizeOf = Callable[[str], Fraction]

Event = Bought | Bill | Used | Left | Moved


@dataclass(slots=True)
class Statement:
    """The books at one day. `buckets` sum to `money_out`, exactly."""

    money_out: Fraction = Fraction(0)
    money_in: Fraction = Fraction(0)  # proceeds and refunds
    hand: dict[str, Heap] = field(default_factory=lambda: defaultdict(Heap))
    coming: dict[str, Heap] = field(default_factory=lambda: defaultdict(Heap))
    builds: dict[tuple[str, bool], dict[str, Heap]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(Heap))
    )
    gone: dict[str, Fraction] = field(default_factory=lambda: defaultdict(Fraction))
    warnings: list[str] = field(default_factory=list)
    short: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))  # by part
    size_of: SizeOf = field(default=lambda _: Fraction(1))  # in which unit warnings count

    def buckets(self) -> dict[str, Fraction]:
        """Where the money is, exact, by the name of the place."""
        held = {True: Fraction(0), False: Fraction(0)}
        for (_, repair), heaps in self.builds.items():
            held[repair] += _cost(heaps)
        fixed = {"builds": held[False], "repairs": held[True], "on hand": _cost(self.hand)}
        names = ("wrong", "returned", "sold", "written off", "postage")
        return (
            fixed
            | {"on its way": _cost(self.coming)}
            | {name: self.gone.get(name, Fraction(0)) for name in names}
        )

    def cost_of(self, build: str, *, repair: bool = False) -> Fraction:
        """What the build has taken, at what was paid for it."""
        return _cost(self.builds[build, repair]) if (build, repair) in self.builds else Fraction(0)

    def stock(self) -> dict[str, Stock]:
        """What repricing may count on."""
        return {
            part: Stock(_decimal(self.hand[part].amount), _decimal(self.coming[part].amount))
            for part in {*self.hand, *self.coming}
        }


def _cost(heaps: Mapping[str, Heap]) -> Fraction:
    return sum((heap.cost for heap in heaps.values()), Fraction(0))


def _decimal(value: Fraction) -> Decimal:
    return Decimal(value.numerator) / Decimal(value.denominator)


def balance(
    events: Sequence[Event], day: date | None = None, size_of: SizeOf | None = None
) -> Statement:
    """The books after all events up to `day`, in the order of their days.

    `size_of`: base units in the unit in which people count a part; warnings are told in it.
    """
    known = [e for e in events if day is None or e.on <= day]
    state = Statement(size_of=size_of) if size_of else Statement()
    extra, carried = shared_bills(known), set(_lines_of(known))
    for place, event in sorted(enumerate(known), key=lambda pair: (pair[1].on, pair[0])):
        match event:
            case Bought():
                _buy(state, event, Fraction(event.cost) + extra.get(place, Fraction(0)))
            case Bill():
                _bill(state, event, shared=event.order in carried)
            case Used():
                _use(state, event)
            case Left():
                _leave(state, event)
            case Moved():
                _move(state, event)
    return state


def shared_bills(events: Sequence[Event]) -> dict[int, Fraction]:
    """What each bought line (by its place) bears of its order's late bills, by price.

    Lines that cost nothing share by number where the whole order cost nothing.
    """
    extra: dict[int, Fraction] = defaultdict(Fraction)
    orders = _lines_of(events)
    for bill in events:
        if not isinstance(bill, Bill) or bill.kind == "postage":
            continue
        lines = orders.get(bill.order, {})
        total = sum(lines.values(), Fraction(0))
        for place, cost in lines.items():
            part = cost / total if total else Fraction(1, len(lines))
            extra[place] += Fraction(bill.cost) * part
    return extra


def _lines_of(events: Sequence[Event]) -> dict[str, dict[int, Fraction]]:
    """By order the lines that bear its bills, each with its cost."""
    found: dict[str, dict[int, Fraction]] = {}
    for place, event in enumerate(events):
        if isinstance(event, Bought) and event.order and event.state != "cancelled":
            found.setdefault(event.order, {})[place] = Fraction(event.cost)
    return found


def _buy(state: Statement, event: Bought, cost: Fraction) -> None:
    if event.state == "cancelled":
        return
    state.money_out += cost
    amount = Fraction(event.amount)
    if amount <= 0:
        state.gone["written off"] += cost
        return
    lot = Lot(amount, cost / amount, event.on, event.source, event.start)
    if event.state in {"returned", "refunded"}:
        state.gone["returned"] += cost
    elif event.state == "wrong":
        state.gone["wrong"] += cost
    elif event.state in COMING:
        here = min(Fraction(event.arrived), amount)
        state.hand[event.part].put([lot._replace(amount=here)] if here else [])
        if amount > here:
            rest = lot._replace(amount=amount - here, start=lot.start + here)
            state.coming[event.part].put([rest])
    else:
        state.hand[event.part].put([lot])


def _bill(state: Statement, event: Bill, *, shared: bool) -> None:
    """A shared bill is in the cost of its lines; one without lines is postage."""
    if event.kind == "postage" or not shared:
        state.money_out += Fraction(event.cost)
        state.gone["postage"] += Fraction(event.cost)


def _use(state: Statement, event: Used) -> None:
    mine = state.builds[event.build, event.repair][event.part]
    source, target = (state.hand[event.part], mine) if event.amount > 0 else (mine, None)
    taken = _take(state, source, event.part, abs(Fraction(event.amount)), event.on)
    (target or state.hand[event.part]).put(taken)


def _leave(state: Statement, event: Left) -> None:
    """Out of hand, or out of a build."""
    source = state.hand[event.part]
    if event.build is not None:
        source = state.builds[event.build, event.repair][event.part]
    taken = _take(state, source, event.part, Fraction(event.amount), event.on)
    state.gone[event.how] += worth(taken)
    state.gone["postage"] += Fraction(event.postage)
    state.money_out += Fraction(event.postage)
    state.money_in += Fraction(event.money)


def _move(state: Statement, event: Moved) -> None:
    source = state.builds[event.build, event.repair][event.part]
    taken = _take(state, source, event.part, Fraction(event.amount), event.on)
    state.builds[event.to, False][event.part].put(taken)


def _take(state: Statement, source: Heap, part: str, amount: Fraction, day: date) -> list[Lot]:
    if source.amount < amount:
        size = state.size_of(part)
        have, want = (number_text(value / size, 9) for value in (source.amount, amount))
        text = f"{day}: {want} of {part} taken where {have} were there"
        state.warnings.append(text)
        state.short[part].append(text)
    return source.take(amount)


def shown(buckets: Mapping[str, Fraction], currency: str) -> dict[str, Decimal]:
    """Buckets in whole cents that add up to the rounded total (largest remainders first)."""
    step = Fraction(quantum(currency))
    down = {name: int(value / step) for name, value in buckets.items()}
    total = to_cents(sum(buckets.values(), Fraction(0)), currency)
    left = int(Fraction(total) / step) - sum(down.values())
    order = sorted(buckets, key=lambda name: buckets[name] / step - down[name], reverse=True)
    for name in order[:left]:
        down[name] += 1
    return {name: count * quantum(currency) for name, count in down.items()}


def bought(purchases: Iterable[Purchase]) -> list[Bought]:
    """Purchases as events; all in one currency, what was debited going first."""
    return [
        Bought(
            part=p.part,
            amount=p.count * p.content,
            cost=(p.debited or p.total).amount,
            on=p.on or date.min,
            order=p.order,
        )
        for p in purchases
    ]


def estimate_error(estimate: Decimal, bills: Iterable[Bill], order: str) -> Decimal:
    """What the late bills of an order came to beyond the estimate (below 0: less)."""
    real = sum((b.cost for b in bills if b.order == order and b.kind != "postage"), Decimal(0))
    return real - estimate
