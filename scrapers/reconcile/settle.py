"""The weighing: which of the stated and shown prices a visitor pays now, or why not."""

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


def settle(court: Court) -> Verdict:
    """One price out of everything that the page says."""
    now = court.shown.now
    priced = [t for t in court.told if t.priced or (t.own and t.first is not None)]
    if now is None:
        return _told_only(court, priced)
    if not priced:
        return _shown_only(court, now)
    for weigh in (_open_sight, _equal, _beside_unit, _backed, _unnamed, _sale, _range, _taxes,
                  _another_amount, _slips, _currencies):  # fmt: skip
        verdict = weigh(court, priced, now)
        if verdict is not None:
            return verdict
    return _conflict(court, priced, now)


def _pay(court: Court, now: Seen, told: Told | None, **more: object) -> Verdict:
    """The shown price, backed by a source or on its own."""
    shown = court.shown
    made = Verdict(
        price=now.amount,
        currency=now.currency or (told.currency if told else None) or court.currency,
        source=told.source if told and court.same(told.price, now.amount) else Source.VISIBLE,
        told=told,
        list_price=shown.list_price or _listed(court, now.amount),
        low=shown.low,
        high=shown.high,
        tax=shown.tax,
        member=shown.member,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # dataclasses.replace takes any field


def _listed(court: Court, price: Decimal | None) -> Decimal | None:
    return next(
        (t.list_price for t in court.told if t.list_price and price and t.list_price > price), None
    )


def _money_clash(court: Court, now: Seen, told: Told) -> bool:
    del court
    return bool(now.currency and told.currency and now.currency != told.currency)


def _equal(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    for told in priced:
        if not court.same(told.price, now.amount):
            continue
        if _money_clash(court, now, told):
            doubt = (
                f"{told.source} says {told.currency}, the text {now.currency}, for the same amount"
            )
            backed = any(
                court.same(t.price, now.amount) and t.currency == now.currency for t in priced
            )
            return _pay(court, now, told, doubt=None if backed else doubt)
        low, high = _bounds(court, priced, now)
        return _pay(court, now, told, low=low, high=high)
    return None


def _beside_unit(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Nothing but a price per metre or kilogram in sight: the markup's is that of the piece."""
    exact = [t for t in priced if t.price is not None and t.doubt is None]
    return _by(court, exact[0]) if now.kind == "unit" and exact else None


def _bounds(court: Court, priced: list[Told], now: Seen) -> tuple[Decimal | None, Decimal | None]:
    """The range around a price that the page shows as the first or chosen one."""
    lows = [t.low for t in priced if t.low is not None] + [court.shown.low] * (
        court.shown.low is not None
    )
    highs = [t.high for t in priced if t.high is not None] + [court.shown.high] * (
        court.shown.high is not None
    )
    prices = court.choices
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


def _backed(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """One source holds the list price, another a price that stands farther off in the text."""
    del now
    if court.shown.list_price is None or len(priced) < 2:
        return None
    for told in priced:
        for seen in court.shown.all:
            paid = seen.kind in ("now", "gross", "low") and court.same(seen.amount, told.price)
            if paid and seen.amount < court.shown.list_price:
                return _by(court, told, seen=seen, list_price=court.shown.list_price)
    return None


def _unnamed(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Against an amount of plain text the one that an element is named for and markup backs."""
    if now.named or now.strong:
        return None
    for told in priced:
        for seen in court.shown.all:
            meant = seen.kind in ("now", "gross", "regular", "low") and seen.named
            if meant and court.same(seen.amount, told.price):
                return _by(court, told, seen=seen)
    return None


def _sale(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Markup left at the list price while the page shows the sale, or the sale only in markup."""
    lists = [
        s.amount for s in court.shown.all if s.kind in ("list", "regular") and s.amount > now.amount
    ]
    together = (
        now.named
        or now.strong
        or any(
            s.kind in ("list", "regular") and s.group == now.group and s.amount > now.amount
            for s in court.shown.all
        )
    )
    for told in priced if together else []:
        for listed in (court.shown.list_price, *lists):
            if listed is not None and court.same(told.price, listed):
                return _pay(
                    court, now, None, list_price=listed, note="the markup holds the list price"
                )
    for told in priced:
        if told.price and court.same(told.list_price, now.amount) and told.price < now.amount:
            seen = any(court.same(s.amount, told.price) for s in court.shown.all)
            if seen:
                return _by(court, told, list_price=now.amount)
    return None


def _open_sight(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """A range in sight: open, unless it is quantity prices and the markup holds the upper end."""
    if now.low is None or now.high is None or now.low == now.high:
        return None
    for told in priced:
        if court.same(told.price, now.high):
            return _by(court, told)
    return _picked(court, now) or _pay(
        court, now, None, price=None, low=now.low, high=now.high, doubt=CHOICE_NEEDED
    )


def _picked(court: Court, now: Seen) -> Verdict | None:
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
    return _pay(
        court, one, None, low=low, high=high, list_price=min(listed, default=None),
        note="a variant is chosen",
    )  # fmt: skip


def _range(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """A range or list in the markup, one of it in sight."""
    for told in priced:
        prices = {c.price for c in told.choices if c.price is not None} | set(court.choices)
        ends = {told.low, told.high, told.first, *prices}
        if any(court.same(v, now.amount) for v in ends) or _within(told, now.amount):
            if told.price is not None and not _within(told, now.amount) and not prices:
                continue
            low, high = _bounds(court, priced, now)
            if _rows(court, now, prices):
                return _pay(court, now, told, price=None, low=low, high=high, doubt=CHOICE_NEEDED)
            return _pay(court, now, told, source=told.source, low=low, high=high)
    return None


def _rows(court: Court, now: Seen, prices: set[Decimal]) -> bool:
    """Several variants in rows of their own, each with its price: none of them is chosen."""
    like = [r for r in court.shown.rivals if r.kind == now.kind and _last(r) == _last(now)]
    return bool(like) and not now.strong and {now.amount, *(r.amount for r in like)} <= prices


def _last(seen: Seen) -> str:
    return seen.where.rsplit(" > ", 1)[-1]


def _within(told: Told, amount: Decimal) -> bool:
    return told.low is not None and told.high is not None and told.low <= amount <= told.high


def _taxes(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    for told in priced:
        price = told.price or told.low
        if price is None:
            continue
        if court.shown.net is not None and court.same(price, court.shown.net):
            return _pay(
                court, now, None, tax=Tax.INCLUDED, note="the markup holds the price without tax"
            )
        if court.vat(price, now.amount) and now.tax is not Tax.EXCLUDED:
            return _pay(
                court, now, None, tax=Tax.INCLUDED, note="the markup holds the price without tax"
            )
        if now.tax is Tax.EXCLUDED and court.vat(now.amount, price):
            return _by(court, told, tax=Tax.INCLUDED)
        seen = court.shown.rivals
        gross = [r for r in seen if r.kind in ("now", "gross") and court.vat(price, r.amount)]
        if gross and not now.strong:
            return _pay(court, gross[0], None, tax=Tax.INCLUDED, note="the markup holds the net")
    return None


def _another_amount(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """The markup's price stands in the text, only not where we looked first."""
    for told in priced:
        match = next((s for s in court.shown.all if court.same(s.amount, told.price)), None)
        if match is None or match is now:
            continue
        first = match.level < now.level or match.order < now.order
        if match.kind in ("now", "gross", "regular", "low") or (match.kind == "unit" and first):
            return _by(court, told, seen=match)
        if match.kind == "member" and match.amount < now.amount:
            return _pay(court, now, None, member=match.amount)
        if match.kind == "member":
            return _by(court, told, seen=match)
        if _fits(match, now) and (now.strong or match.kind != "list"):
            return _pay(court, now, None, note=f"the markup holds the {match.kind} price")
    for told in priced:
        if court.same(told.member_price, now.amount) and told.price is not None:
            return _by(court, told)
    return None


MOST_TAX = Decimal("1.3")


def _fits(claim: Seen, now: Seen) -> bool:
    """Whether an amount can be what its label says beside the price: the net one is lower ..."""
    if claim.kind == "net":
        return claim.amount < now.amount <= claim.amount * MOST_TAX
    if claim.kind in ("tier", "instalment"):
        return claim.amount < now.amount
    return claim.kind == "unit" or (claim.kind == "list" and claim.amount > now.amount)


def _slips(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """The same digits in minor units, or with a thousands sign taken for a decimal one."""
    for told in priced:
        price = told.price or told.first
        if price is not None and any(
            court.same(price.scaleb(shift), now.amount) for shift in (-2, 2, 3)
        ):
            return _pay(court, now, None, note="the markup holds the amount in other units")
    return None


def _currencies(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Markup in the shop's currency, text in the visitor's: the visitor pays what is shown."""
    clash = all(_money_clash(court, now, t) for t in priced if t.price is not None)
    if now.currency and clash and any(t.price is not None for t in priced):
        return _pay(court, now, None, list_price=court.shown.list_price, low=now.low, high=now.high,
                    note="the markup is in another currency")  # fmt: skip
    return None


def _conflict(court: Court, priced: list[Told], now: Seen) -> Verdict:
    """Nothing explains the difference: two sources of markup outweigh a weak sight."""
    exact = [t for t in priced if t.price is not None and t.doubt is None]
    agree = [t for t in exact if sum(court.same(t.price, o.price) for o in exact) > 1]
    if agree and not now.strong and court.shown.rivals:
        return _by(court, agree[0])
    lead = exact[0] if exact else priced[0]
    amount = lead.price if lead.price is not None else lead.low
    doubt = f"{lead.source} says {amount}, the page shows {now.amount}"
    return _pay(court, now, None, price=None, doubt=doubt)


def _by(court: Court, told: Told, seen: Seen | None = None, **more: object) -> Verdict:
    """A price of the markup; `seen`: the amount in sight that backs it."""
    shown = court.shown
    high = told.price or Decimal(0)
    listed = told.list_price or (
        shown.list_price if shown.list_price and shown.list_price > high else None
    )
    if listed is None and shown.now is None:
        listed = _struck(shown, high)
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


def _struck(shown: Shown, price: Decimal) -> Decimal | None:
    """The list price beside a price that only the markup can name; None where several stand."""
    above = [s for s in shown.all if s.kind in ("list", "regular") and s.amount > price > 0]
    near = {s.amount for s in above if s.level == min(a.level for a in above)}
    return near.pop() if len(near) == 1 else None


def _told_only(court: Court, priced: list[Told]) -> Verdict:
    """No price in sight: sources of markup that agree, or explain each other."""
    exact = [t for t in priced if t.price is not None]
    trusted = [t for t in exact if t.doubt is None] or exact
    if not trusted:
        return _open_range(court, priced) if priced else _no_price(court)
    lead = trusted[0]
    for other in trusted[1:]:
        better = _better(court, lead, other)
        if better is None:
            doubt = f"{lead.source} says {lead.price}, {other.source} says {other.price}"
            return _by(court, lead, doubt=doubt, price=None)
        lead = better
    if lead.doubt:
        keep = lead.price if lead.member_price is not None or lead.price == 0 else None
        return _by(court, lead, doubt=lead.doubt, price=keep)
    made = _by(court, lead)
    return replace(made, list_price=made.list_price or _listed(court, lead.price))


def _no_price(court: Court) -> Verdict:
    """Markup without a price that can be used: why, if it says so."""
    for told in (t for t in court.told if t.own):
        doubt = told.doubt
        if told.multibuy:
            doubt = f"the price holds only from {told.multibuy[0].quantity} pieces"
        elif told.zero:
            doubt = ZERO
        if doubt:
            return Verdict(currency=told.currency, told=told, doubt=doubt)
    return Verdict()


def _better(court: Court, lead: Told, other: Told) -> Told | None:
    """Of two sources that differ the one that is paid; None where nothing explains them."""
    one, two = lead.price or Decimal(0), other.price or Decimal(0)
    if court.same(other.list_price, one) or court.vat(one, two):
        return other
    minor = other.source is Source.STATE and any(court.same(two.scaleb(n), one) for n in (-2, 2))
    explained = (
        court.same(one, two)
        or court.same(lead.list_price, two)
        or court.vat(two, one)
        or _within(lead, two)
        or minor
    )
    return lead if explained else None


def _open_range(court: Court, priced: list[Told]) -> Verdict:
    lead = priced[0]
    return _by(court, lead, price=lead.first, doubt=CHOICE_NEEDED, source=lead.source)


def _shown_only(court: Court, now: Seen) -> Verdict:
    if now.low is not None and now.high is not None and now.low != now.high:
        return _picked(court, now) or _pay(court, now, None, price=None, doubt=CHOICE_NEEDED)
    low, high = _bounds(court, [], now)
    made = _pay(court, now, None, low=low, high=high)
    if made.currency is None:
        return replace(made, price=None, doubt=NO_CURRENCY)
    rivals = [r for r in court.shown.rivals if r.group == now.group]
    if rivals and not now.strong and now.low is None and not court.choices:
        return _one_of(made, now, rivals)
    return made


def _one_of(made: Verdict, now: Seen, rivals: list[Seen]) -> Verdict:
    """Of two bare amounts side by side the lower is paid; more of them settle nothing."""
    amounts = sorted({r.amount for r in rivals} | {now.amount})
    beside = all(r.parent == now.parent and r.currency == now.currency for r in rivals)
    if len(amounts) > 2 or not beside:
        return replace(made, **_several(amounts))  # type: ignore[arg-type]  # as above
    return replace(made, price=amounts[0], list_price=amounts[1], note=TWO_BARE)


def _several(amounts: list[Decimal]) -> dict[str, object]:
    said = ", ".join(str(a) for a in amounts[:6])
    return {"price": None, "doubt": f"{SEVERAL}: {said}"}
