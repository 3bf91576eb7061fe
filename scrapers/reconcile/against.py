"""Markup against what is seen: one rule after the other, the first that knows decides."""

from __future__ import annotations

import re
from decimal import Decimal

from scrapers.model import Tax
from scrapers.readers.claims import Seen
from scrapers.reconcile.court import (
    CHOICE_NEEDED,
    Court,
    Verdict,
    bounds,
    by,
    pay,
    picked,
    within,
)
from scrapers.reconcile.told import Told
from scrapers.texts import read_price

MOST_TAX = Decimal("1.3")


def _money_clash(court: Court, now: Seen, told: Told) -> bool:
    del court
    if now.currency is None and told.currency and _SHARED.search(now.text):
        read = read_price(now.text, currency=told.currency)  # "$" beside markup in euros
        return read is not None and read.amount == now.amount and read.currency is None
    return bool(now.currency and told.currency and now.currency != told.currency)


# signs that several currencies share
_SHARED = re.compile(r"\$|\bkr\b|\bRs\b", re.IGNORECASE)


def _equal(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    for told in priced:
        if not court.same(told.price, now.amount):
            continue
        if _money_clash(court, now, told):
            shown = now.currency or f'"{now.text[:20]}"'
            doubt = f"{told.source} says {told.currency}, the text {shown}, for the same amount"
            backed = any(
                court.same(t.price, now.amount) and t.currency == now.currency for t in priced
            )
            if backed or _plainly(now):
                return pay(court, now, told, doubt=None, note=doubt)
            return pay(court, now, told, doubt=doubt)
        low, high = bounds(court, priced, now)
        return pay(court, now, told, low=low, high=high)
    return None


def _plainly(now: Seen) -> bool:
    """Whether the sign beside the amount means one currency only ("R$", "zł", but not "$").

    Themes leave a currency of the maker's in the markup; a visitor pays what is shown.
    """
    told = read_price(now.text)
    one = told is not None and told.currency is not None and told.currency == now.currency
    return one and "¥" not in now.text


def _backed(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """One source holds the list price, another a price that stands farther off in the text."""
    del now
    if court.shown.list_price is None or len(priced) < 2:
        return None
    for told in priced:
        for seen in court.shown.all:
            paid = seen.kind in ("now", "gross", "low") and court.same(seen.amount, told.price)
            if paid and seen.amount < court.shown.list_price:
                return by(court, told, seen=seen, list_price=court.shown.list_price)
    return None


def _unnamed(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Against an amount of plain text the one that an element is named for and markup backs."""
    if now.named or now.strong:
        return None
    for told in priced:
        for seen in court.shown.all:
            meant = seen.kind in ("now", "gross", "regular", "low") and seen.named
            if meant and court.same(seen.amount, told.price):
                return by(court, told, seen=seen)
    return None


def _sale(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Markup left at the list price while the page shows the sale, or the sale only in markup."""
    if now.tax is Tax.EXCLUDED and any(court.vat(now.amount, t.price) for t in priced if t.price):
        return None  # no sale: the same without tax
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
                return pay(
                    court, now, None, list_price=listed, note="the markup holds the list price"
                )
    for told in priced:
        if told.price and court.same(told.list_price, now.amount) and told.price < now.amount:
            seen = any(court.same(s.amount, told.price) for s in court.shown.all)
            if seen:
                return by(court, told, list_price=now.amount)
    return None


def _open_sight(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """A range in sight: open, unless it is quantity prices and the markup holds the upper end."""
    if now.low is None or now.high is None or now.low == now.high:
        return None
    for told in priced:
        if court.same(told.price, now.high):
            return by(court, told)
    return picked(court, now) or pay(
        court, now, None, price=None, low=now.low, high=now.high, doubt=CHOICE_NEEDED
    )


def _range(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """A range or list in the markup, one of it in sight."""
    for told in priced:
        prices = {c.price for c in told.choices if c.price is not None} | set(court.choices)
        ends = {told.low, told.high, told.first, *prices}
        if any(court.same(v, now.amount) for v in ends) or within(told, now.amount):
            if told.price is not None and not within(told, now.amount) and not prices:
                continue
            low, high = bounds(court, priced, now)
            if _rows(court, now, prices) or _unnamed_rivals(court, now, told):
                return pay(court, now, told, price=None, low=low, high=high, doubt=CHOICE_NEEDED)
            return pay(court, now, told, source=told.source, low=low, high=high)
    return None


def _rows(court: Court, now: Seen, prices: set[Decimal]) -> bool:
    """Several variants in rows of their own, each with its price: none of them is chosen."""
    like = [r for r in court.shown.rivals if r.kind == now.kind and _last(r) == _last(now)]
    return bool(like) and not now.strong and {now.amount, *(r.amount for r in like)} <= prices


def _unnamed_rivals(court: Court, now: Seen, told: Told) -> bool:
    """Several amounts of the markup's range in plain text: none of them is said to be the price."""
    if now.named or now.strong or now.low is not None or told.price is not None:
        return False
    if court.shown.list_price is not None:
        return False  # the old price beside it says which one is the price
    return any(r.kind in ("now", "gross") and within(told, r.amount) for r in court.shown.rivals)


def _last(seen: Seen) -> str:
    return seen.where.rsplit(" > ", 1)[-1]


def _taxes(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    for told in priced:
        price = told.price or told.low
        if price is None:
            continue
        if court.shown.net is not None and court.same(price, court.shown.net):
            return pay(
                court, now, None, tax=Tax.INCLUDED, note="the markup holds the price without tax"
            )
        if court.vat(price, now.amount) and now.tax is not Tax.EXCLUDED:
            return pay(
                court, now, None, tax=Tax.INCLUDED, note="the markup holds the price without tax"
            )
        if told.price is None and told.high is not None and court.vat(told.high, now.amount):
            return pay(court, now, None, tax=Tax.INCLUDED, note="the markup holds the net range")
        if now.tax is Tax.EXCLUDED and court.vat(now.amount, price):
            return by(court, told, tax=Tax.INCLUDED)
        seen = court.shown.rivals
        gross = [r for r in seen if r.kind in ("now", "gross") and court.vat(price, r.amount)]
        if gross and not now.strong:
            return pay(court, gross[0], None, tax=Tax.INCLUDED, note="the markup holds the net")
    return None


def _another_amount(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """The markup's price stands in the text, only not where we looked first."""
    for told in priced:
        match = next((s for s in court.shown.all if court.same(s.amount, told.price)), None)
        if match is None or match is now:
            continue
        first = match.level < now.level or match.order < now.order
        if match.kind in ("now", "gross", "regular", "low") or (match.kind == "unit" and first):
            return by(court, told, seen=match)
        if match.kind == "member" and match.amount < now.amount:
            return pay(court, now, None, member=match.amount)
        if match.kind == "member":
            return by(court, told, seen=match)
        if _fits(match, now) and (now.strong or match.kind != "list"):
            return pay(court, now, None, note=f"the markup holds the {match.kind} price")
    for told in priced:
        if court.same(told.member_price, now.amount) and told.price is not None:
            return by(court, told)
    return None


def _fits(claim: Seen, now: Seen) -> bool:
    """Whether an amount can be what its label says beside the price: the net one is lower ..."""
    if claim.kind == "net":
        return claim.amount < now.amount <= claim.amount * MOST_TAX
    if claim.kind in ("tier", "instalment"):
        return claim.amount < now.amount
    return claim.kind == "unit" or (claim.kind == "list" and claim.amount > now.amount)


def _slips(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """The same digits in minor units, or with a thousands sign taken for a decimal one.

    All of the digits: "11.90" is no "0.12" in other units.
    """
    for told in priced:
        price = told.price or told.first
        if price is not None and any(price.scaleb(shift) == now.amount for shift in (-2, 2, 3)):
            return pay(court, now, None, note="the markup holds the amount in other units")
    return None


def _cut_off(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Sight ends before the cents, which stand in an element that nothing ties to the rest."""
    whole = now.amount == int(now.amount) and not _CENTS.search(now.text)
    for told in priced if whole else []:
        if told.price is not None and told.price > now.amount == int(told.price):
            return by(court, told, seen=now)
    return None


_CENTS = re.compile(r"\d[.,]\d\d(?!\d)")


def _currencies(court: Court, priced: list[Told], now: Seen) -> Verdict | None:
    """Markup in the shop's currency, text in the visitor's: the visitor pays what is shown."""
    clash = all(_money_clash(court, now, t) for t in priced if t.price is not None)
    if now.currency and clash and any(t.price is not None for t in priced):
        return pay(court, now, None, list_price=court.shown.list_price, low=now.low, high=now.high,
                    note="the markup is in another currency")  # fmt: skip
    return None


def conflict(court: Court, priced: list[Told], now: Seen) -> Verdict:
    """Nothing explains the difference: two sources of markup outweigh a weak sight."""
    exact = [t for t in priced if t.price is not None and t.doubt is None]
    agree = [t for t in exact if sum(court.same(t.price, o.price) for o in exact) > 1]
    if agree and not now.strong and court.shown.rivals:
        return by(court, agree[0])
    lead = exact[0] if exact else priced[0]
    amount = lead.price if lead.price is not None else lead.low
    doubt = f"{lead.source} says {amount}, the page shows {now.amount}"
    return pay(court, now, None, price=None, doubt=doubt)


RULES = (
    _open_sight,
    _equal,
    _backed,
    _unnamed,
    _sale,
    _range,
    _taxes,
    _another_amount,
    _slips,
    _cut_off,
    _currencies,
)
