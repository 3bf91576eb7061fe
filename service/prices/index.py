"""What a build costs over time: a Lowe index on its own basket, and which line moved it.

The basket is what the build needs, so the index is its cost then and now, and the
contributions of its lines add up to the change exactly. A line without a current
price is carried at its last one and named; a line that never had one is left
out of both sides and named. When the build is edited both baskets are priced on
that day and the index goes on from there: an edit is not a price change.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Generic, TypeVar

from service.model.money import money_text, round_money

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

T = TypeVar("T", datetime, int)


@dataclass(frozen=True, slots=True)
class Quote:
    """The price of one unit of a line at some time; `stale`: an old one, carried on."""

    price: Decimal
    stale: bool = False


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one line adds: `change` in money, `points` in percent of the cost then."""

    line: str
    change: Decimal
    points: Decimal


@dataclass(frozen=True, slots=True)
class Change:
    """A basket's cost then and now over the lines that have both prices.

    `index`: cost now by cost then. `contributions` in the order of the basket, they sum to
    `after - before`. `carried`: lines at an old price; `missing`: lines left out.
    """

    before: Decimal
    after: Decimal
    index: Decimal | None
    contributions: tuple[Contribution, ...] = ()
    carried: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Edition(Generic[T]):
    """A build's basket (quantity by line) from the time it was made so."""

    since: T
    basket: Mapping[str, Decimal]


@dataclass(frozen=True, slots=True)
class Point(Generic[T]):
    """The linked index at a time (1 at the first), with the cost of the basket in force."""

    at: T
    cost: Decimal
    index: Decimal
    carried: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def compare(
    basket: Mapping[str, Decimal], then: Mapping[str, Quote], now: Mapping[str, Quote]
) -> Change:
    """Lowe index of `basket` from `then` to `now`, with the contribution of every line."""
    moves: list[tuple[str, Decimal]] = []
    before = after = Decimal(0)
    for line, quantity in basket.items():
        if line in then and line in now:
            old, new = then[line].price * quantity, now[line].price * quantity
            before, after = before + old, after + new
            moves.append((line, new - old))
    return Change(
        before=before,
        after=after,
        index=after / before if before else None,
        contributions=tuple(
            Contribution(line, move, 100 * move / before if before else Decimal(0))
            for line, move in moves
        ),
        carried=tuple(k for k in basket if k in now and now[k].stale),
        missing=tuple(k for k in basket if k not in then or k not in now),
    )


def linked(
    editions: Sequence[Edition[T]], prices: Sequence[tuple[T, Mapping[str, Quote]]]
) -> list[Point[T]]:
    """The index at every time of `prices` (rising), linked where an edition begins.

    `editions` rising by `since`; one that begins between two times is linked at the first
    time it is in force: both baskets are priced there. Lines that lack a price on either side
    are left out of that step and named; what was known before is carried.
    """
    points: list[Point[T]] = []
    level, known = Decimal(1), dict[str, Quote]()
    for at, fresh in prices:
        edition = _in_force(editions, at)
        if edition is None:
            continue
        previous = _in_force(editions, points[-1].at) if points else None
        quotes = {key: Quote(quote.price, stale=True) for key, quote in known.items()} | dict(fresh)
        if previous is not None:
            step = compare(previous.basket, known, quotes).index
            level = level * step if step is not None else level
        cost = compare(edition.basket, quotes, quotes)
        points.append(Point(at, cost.after, level, cost.carried, cost.missing))
        known = quotes
    return points


def _in_force(editions: Sequence[Edition[T]], at: T) -> Edition[T] | None:
    begun = [edition for edition in editions if edition.since <= at]
    return begun[-1] if begun else None


def change_words(
    change: Change, currency: str, then: str, names: Mapping[str, str] | None = None
) -> str:
    """`31.00 EUR more than in March, 24.00 EUR of it 4S battery`; the line that moved most."""
    moved = change.after - change.before
    if not moved:
        return f"as much as {then}"
    more = "more" if moved > 0 else "less"
    words = f"{_text(abs(moved), currency)} {more} than {then}"
    same_way = [c for c in change.contributions if c.change * moved > 0]
    most = max(same_way, key=lambda c: abs(c.change))
    name = (names or {}).get(most.line, most.line)
    if abs(most.change) > abs(moved):
        return f"{words}; most of all {name}: {_text(abs(most.change), currency)} {more}"
    return f"{words}, {_text(abs(most.change), currency)} of it {name}"


def _text(amount: Decimal, currency: str) -> str:
    return f"{money_text(round_money(amount, currency), currency)} {currency}"
