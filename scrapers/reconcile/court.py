"""What is weighed, what comes of it, and the two ways to tell a price: as seen, as stated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from scrapers.model import Availability, Source, Tax
from scrapers.readers.claims import Seen
from scrapers.readers.values import rounded
from scrapers.reconcile.places import vat_factor
from scrapers.reconcile.shown import Shown
from scrapers.reconcile.told import Told

CHOICE_NEEDED = "choice needed"
ZERO = "the price is 0, a placeholder"
TWO_BARE = "of two bare amounts the lower"
SEVERAL = "the page shows several amounts"
NO_CURRENCY = "the page does not say in which currency"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The price and the source it is told by; `doubt` is set where it is not settled."""

    price: Decimal | None = None
    currency: str | None = None
    source: Source | None = None
    told: Told | None = None
    list_price: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    tax: Tax = Tax.UNKNOWN
    member: Decimal | None = None
    doubt: str | None = None
    note: str | None = None
    stock: Availability = Availability.UNKNOWN


@dataclass(frozen=True, slots=True)
class Court:
    """What is weighed: told by markup (in order of trust), shown in the text, and the place."""

    told: tuple[Told, ...]
    shown: Shown
    currency: str | None
    country: str | None
    choices: tuple[Decimal, ...] = ()

    def same(self, one: Decimal | None, other: Decimal | None) -> bool:
        if one is None or other is None:
            return False
        return rounded(one, self.currency) == rounded(other, self.currency)

    def vat(self, net: Decimal, gross: Decimal) -> bool:
        return vat_factor(net, gross, self.currency, self.country) is not None


def pay(court: Court, now: Seen, told: Told | None, **more: object) -> Verdict:
    """The shown price, backed by a source or on its own."""
    shown = court.shown
    made = Verdict(
        price=now.amount,
        currency=now.currency or (told.currency if told else None) or court.currency,
        source=told.source if told and court.same(told.price, now.amount) else Source.VISIBLE,
        told=told,
        list_price=shown.list_price or listed(court, now.amount),
        low=shown.low,
        high=shown.high,
        tax=shown.tax,
        member=shown.member,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # dataclasses.replace takes any field


def listed(court: Court, price: Decimal | None) -> Decimal | None:
    return next(
        (t.list_price for t in court.told if t.list_price and price and t.list_price > price), None
    )


def by(court: Court, told: Told, seen: Seen | None = None, **more: object) -> Verdict:
    """A price of the markup; `seen`: the amount in sight that backs it."""
    shown = court.shown
    high = told.price or Decimal(0)
    listed = told.list_price or (
        shown.list_price if shown.list_price and shown.list_price > high else None
    )
    if listed is None and (shown.now is None or shown.now.kind == "unit"):
        listed = struck(shown, high)
    made = Verdict(
        price=told.price,
        currency=told.currency or (seen.currency if seen else None) or court.currency,
        source=told.source,
        told=told,
        list_price=listed,
        low=told.low,
        high=told.high,
        tax=seen.tax if seen else told.tax,
        member=told.member_price or shown.member,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # dataclasses.replace takes any field


def struck(shown: Shown, price: Decimal) -> Decimal | None:
    """The list price beside a price that only the markup can name; None where several stand."""
    above = [s for s in shown.all if s.kind in ("list", "regular") and s.amount > price > 0]
    near = {s.amount for s in above if s.level == min(a.level for a in above)}
    return near.pop() if len(near) == 1 else None


def bounds(court: Court, priced: list[Told], now: Seen) -> tuple[Decimal | None, Decimal | None]:
    """The range around a price that the page shows as the first or chosen one."""
    lows = [t.low for t in priced if t.low is not None] + [court.shown.low] * (
        court.shown.low is not None
    )
    highs = [t.high for t in priced if t.high is not None] + [court.shown.high] * (
        court.shown.high is not None
    )
    prices = court.choices
    if len(set(prices)) > 1 and any(court.same(now.amount, p) for p in prices):
        return min(prices), max(prices)  # a table of all choices knows better than markup
    low = min(
        (v for v in lows if v is not None), default=min(prices) if len(set(prices)) > 1 else None
    )
    high = max(
        (v for v in highs if v is not None), default=max(prices) if len(set(prices)) > 1 else None
    )
    if low is not None and low > now.amount:
        low = None
    if high is not None and high < now.amount:
        high = None
    return (None, None) if low == high == now.amount else (low, high)


def within(told: Told, amount: Decimal) -> bool:
    return told.low is not None and told.high is not None and told.low <= amount <= told.high


def picked(court: Court, now: Seen) -> Verdict | None:
    """The one price beside the range that a chosen variant has, by the page's own table."""
    low, high = now.low or now.amount, now.high or now.amount
    exact = [
        s
        for s in court.shown.all
        if s.kind in ("now", "gross") and s.low is None and s.level <= now.level + 1
        and low <= s.amount <= high and any(court.same(s.amount, c) for c in court.choices)
    ]  # fmt: skip
    if len({s.amount for s in exact}) != 1:
        return None
    one = exact[0]
    listed = [s.amount for s in court.shown.all if s.kind == "list" and s.amount > one.amount]
    return pay(
        court, one, None, low=low, high=high, list_price=min(listed, default=None),
        note="a variant is chosen",
    )  # fmt: skip
