"""All that happened to goods and money, as events of the ledger and as what repricing needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction

from service.builds import texts
from service.builds.heap import Lot
from service.builds.ledger import (
    Bill,
    Bought,
    Event,
    Left,
    Moved,
    SizeOf,
    State,
    Statement,
    Used,
    balance,
)
from service.builds.portions import portions
from service.builds.shelf import is_aged
from service.builds.view import Holding, Stock
from service.model.catalogue import Part
from service.model.money import Money, round_money
from service.model.orders import Movement, Offcut, Order, OrderBill, OrderLine, Purchase

Convert = Callable[[Money, date], Decimal | None]  # to the books' currency; None: no rate
Portion = tuple[State, date, Decimal]


@dataclass(frozen=True, slots=True)
class Happened:
    """What was booked: everything from which the books follow."""

    purchases: Sequence[Purchase] = ()
    orders: Sequence[Order] = ()
    bills: Sequence[OrderBill] = ()
    movements: Sequence[Movement] = ()
    offcuts: Sequence[Offcut] = ()


@dataclass(slots=True)
class Books:
    """The statement of a day, and what was booked for it. `currency`: of all its money."""

    known: Happened
    statement: Statement
    currency: str
    day: date
    each: dict[int, Fraction] = field(default_factory=dict)  # by purchase: cost of a base unit
    unrated: tuple[str, ...] = ()

    @property
    def good(self) -> dict[str, date]:
        """By part the last day on which what there was of it was found still good."""
        found: dict[str, date] = {}
        for entry in self.known.movements:
            if entry.kind == "good" and entry.on <= self.day:
                found[entry.part] = max(entry.on, found.get(entry.part, entry.on))
        return found


class _Reader:
    """Turns bookings into events, money into the books' currency."""

    def __init__(self, known: Happened, currency: str, convert: Convert, day: date) -> None:
        self.known, self.currency, self.convert, self.day = known, currency, convert, day
        self.unrated: dict[str, None] = {}
        self.each: dict[int, Fraction] = {}
        self.lines = {
            line.purchase: (order, line) for order in known.orders for line in order.lines
        }

    def money(self, money: Money | None, on: date, what: str) -> Decimal:
        """0 where there is none, and where no rate is known: that is said, not guessed."""
        if money is None:
            return Decimal(0)
        found = self.convert(money, self.day if on == date.min else on)
        if found is None:
            text = texts.NOT_IN_BOOKS.format(what=what, money=money, currency=self.currency)
            self.unrated[text] = None
            return Decimal(0)
        return round_money(found, self.currency) if money.currency != self.currency else found

    def events(self) -> Iterator[Event]:
        """In the order of booking; the ledger sorts them by day."""
        for purchase in self.known.purchases:
            yield from self._bought(purchase)
        for bill in self.known.bills:
            cost = self.money(bill.cost, bill.on, f"{bill.kind} of order {bill.order}")
            yield Bill(bill.order, bill.kind, cost, bill.on)
        for movement in self.known.movements:
            yield from self._moved(movement)

    def _bought(self, purchase: Purchase) -> Iterator[Event]:
        on = purchase.on or date.min
        cost = Fraction(self.money(purchase.paid, on, f"a purchase of {purchase.part}"))
        if not purchase.count or not purchase.content:
            yield Bought(purchase.part, Decimal(0), cost, on, purchase.order)
            return
        self.each[purchase.id] = cost / Fraction(purchase.count) / Fraction(purchase.content)
        start = Fraction(0)
        order, line = self.lines.get(purchase.id, (None, None))
        for state, day, count in _portions(purchase, line, self.day):
            amount = Fraction(count) * Fraction(purchase.content)
            yield Bought(
                part=purchase.part,
                amount=amount,
                cost=cost * Fraction(count) / Fraction(purchase.count),
                on=day,
                order=order.key if order else purchase.order,
                state=state,
                source=purchase.id,
                start=start,
            )
            start += amount
        yield from self._came_back(purchase, line)

    def _came_back(self, purchase: Purchase, line: OrderLine | None) -> Iterator[Event]:
        """Refunds and the postage of what was sent back."""
        for step in line.steps if line else ():
            if step.kind == "cancelled" or not (step.money or step.postage):
                continue
            refund = self.money(step.money, step.on, f"a refund of {purchase.part}")
            postage = self.money(step.postage, step.on, f"postage of {purchase.part}")
            yield Left(
                purchase.part, Decimal(0), "returned", step.on, money=refund, postage=postage
            )

    def _moved(self, entry: Movement) -> Iterator[Event]:
        if entry.kind == "used" and entry.build is not None:
            yield Used(entry.part, entry.amount, entry.build, entry.on, entry.repair)
        elif entry.kind == "moved" and entry.build is not None and entry.to is not None:
            yield Moved(entry.part, entry.amount, entry.build, entry.to, entry.on, entry.repair)
        elif entry.kind in ("sold", "written off"):
            yield Left(
                entry.part,
                entry.amount,
                entry.kind,
                entry.on,
                entry.build,
                self.money(entry.money, entry.on, f"proceeds of {entry.part}"),
                self.money(entry.postage, entry.on, f"postage of {entry.part}"),
                entry.repair,
            )


def _portions(purchase: Purchase, line: OrderLine | None, day: date) -> Iterator[Portion]:
    on = purchase.on or date.min
    if line is None:
        yield "arrived", on, purchase.count
        return
    found = portions(line, purchase.count, day)
    yield from (("arrived", came, count) for came, count in found.arrived)
    rest: list[Portion] = [
        ("ordered", on, found.coming),
        ("wrong", on, found.wrong),
        ("returned", on, found.returned),
    ]
    yield from (portion for portion in rest if portion[2])


def books(
    known: Happened, day: date, currency: str, convert: Convert, size_of: SizeOf | None = None
) -> Books:
    """The books at the end of `day`, in one currency at the rates of each day.

    `size_of`: base units in a part's own unit, for what is told of it.
    """
    reader = _Reader(known, currency, convert, day)
    statement = balance(list(reader.events()), day, size_of)
    return Books(known, statement, currency, day, reader.each, tuple(reader.unrated))


def usable_stock(found: Books, parts: Mapping[str, Part]) -> dict[str, Stock]:
    """What repricing may count on: on hand and still good, on its way, offcuts by size."""
    hand, coming = found.statement.hand, found.statement.coming
    offcuts: dict[str, list[Offcut]] = {}
    for offcut in found.known.offcuts:
        offcuts.setdefault(offcut.part, []).append(offcut)
    return {
        key: Stock(
            _decimal(sum((lot.amount for lot in _usable(found, key, parts)), Fraction(0))),
            _decimal(coming[key].amount),
            tuple(one.cut for one in offcuts.get(key, ())),
        )
        for key in {*hand, *coming}
    }


def _usable(found: Books, key: str, parts: Mapping[str, Part]) -> list[Lot]:
    part, tested = parts.get(key), found.good.get(key)
    lots = found.statement.hand[key].lots
    return [lot for lot in lots if part is None or not is_aged(lot, part, found.day, tested)]


def holdings(found: Books, parts: Mapping[str, Part]) -> dict[str, tuple[Holding, ...]]:
    """By build what it has taken; under "" what is free: on hand and good, then on its way."""
    sources = {purchase.id: purchase for purchase in found.known.purchases}

    def held(lots: Iterable[Lot]) -> list[Holding]:
        return [_holding(lot, sources[lot.source], found) for lot in lots if lot.source in sources]

    state = found.statement
    taken = {
        build: tuple(held(lot for heap in heaps.values() for lot in heap.lots))
        for (build, repair), heaps in state.builds.items()
        if not repair
    }
    free = [lot for key in list(state.hand) for lot in _usable(found, key, parts)]
    coming = [lot for heap in state.coming.values() for lot in heap.lots]
    return taken | {"": (*held(free), *held(coming))}


def _holding(lot: Lot, purchase: Purchase, found: Books) -> Holding:
    late = lot.each - found.each.get(purchase.id, lot.each)
    return Holding(purchase, lot.amount, lot.start, late, found.currency)


def _decimal(value: Fraction | int) -> Decimal:
    exact = Fraction(value)
    return Decimal(exact.numerator) / Decimal(exact.denominator)
