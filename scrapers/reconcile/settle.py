"""The weighing: which of the stated and shown prices a visitor pays now, or why not."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from itertools import permutations

from scrapers.model import Source
from scrapers.readers import was
from scrapers.readers.claims import Seen
from scrapers.reconcile.against import RULES, conflict
from scrapers.reconcile.court import (
    CHOICE_NEEDED,
    NO_CURRENCY,
    SEVERAL,
    TWO_BARE,
    ZERO,
    Court,
    Verdict,
    bounds,
    by,
    listed,
    pay,
    picked,
    within,
)
from scrapers.reconcile.told import Told


def settle(court: Court) -> Verdict:
    """One price out of everything that the page says."""
    now = court.shown.now
    priced = [t for t in court.told if t.priced or (t.own and t.first is not None)]
    if now is None or _only_unit(court, priced, now):
        return _told_only(court, priced)
    if not priced:
        return _shown_only(court, now)
    for weigh in RULES:
        verdict = weigh(court, priced, now)
        if verdict is not None:
            return _paired(court, verdict)
    return conflict(court, priced, now)


def _only_unit(court: Court, priced: list[Told], now: Seen) -> bool:
    """Nothing but a price per metre or kilogram in sight: the markup's is that of the piece."""
    exact = [t for t in priced if t.price is not None and t.doubt is None]
    if now.kind != "unit" or not exact or (now.high is not None and now.low != now.high):
        return False
    return not any(court.same(t.price, now.amount) for t in priced)


def _paired(court: Court, verdict: Verdict) -> Verdict:
    """The one higher bare amount in the element that holds the markup's price: the old one."""
    # the words that call an amount regular may stand behind the one before
    plain = [s for s in court.shown.all if s.kind in _BARE_KINDS and s.low is None]
    held = next((s for s in plain if court.same(s.amount, verdict.price)), None)
    known = verdict.list_price is not None or verdict.doubt or verdict.source is Source.VISIBLE
    if known or held is None or not held.parent:
        return verdict
    others = {s.amount for s in plain if s.parent == held.parent} - {held.amount}
    old = others.pop() if len(others) == 1 else None
    if old is None or not held.amount < old < held.amount * 3 or court.vat(held.amount, old):
        return verdict
    return replace(verdict, list_price=old)


_BARE_KINDS = ("now", "gross", "regular")


def _told_only(court: Court, priced: list[Told]) -> Verdict:
    """No price in sight: sources of markup that agree, or explain each other."""
    exact = [t for t in priced if t.price is not None]
    trusted = [t for t in exact if t.doubt is None] or exact
    if not trusted:
        return _open_range(court, priced) if priced else _no_price(court)
    lead = trusted[0]
    for other in trusted[1:]:
        better = _better(court, lead, other) or _reduced(court, lead, other, trusted)
        if better is None:
            doubt = f"{lead.source} says {lead.price}, {other.source} says {other.price}"
            return by(court, lead, doubt=doubt, price=None)
        lead = better
    if lead.doubt:
        keep = lead.price if lead.member_price is not None or lead.price == 0 else None
        return by(court, lead, doubt=lead.doubt, price=keep)
    made = by(court, lead)
    return replace(made, list_price=made.list_price or listed(court, lead.price))


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
    minor = other.source is Source.STATE and any(two.scaleb(n) == one for n in (-2, 2))
    explained = (
        court.same(one, two)
        or court.same(lead.list_price, two)
        or court.vat(two, one)
        or within(lead, two)
        or minor
    )
    return lead if explained else None


def _reduced(court: Court, lead: Told, other: Told, all_: list[Told]) -> Told | None:
    """A third source that has the one for the list price and the other for the price."""
    for told in all_:
        if court.same(told.list_price, lead.price) and court.same(told.price, other.price):
            return told
    return None


def _open_range(court: Court, priced: list[Told]) -> Verdict:
    lead = priced[0]
    return by(court, lead, price=lead.first, doubt=CHOICE_NEEDED, source=lead.source)


def _shown_only(court: Court, now: Seen) -> Verdict:
    if now.low is not None and now.high is not None and now.low != now.high:
        return picked(court, now) or pay(court, now, None, price=None, doubt=CHOICE_NEEDED)
    low, high = bounds(court, [], now)
    made = pay(court, now, None, low=low, high=high)
    if made.currency is None:
        return replace(made, price=None, doubt=NO_CURRENCY)
    rivals = [r for r in court.shown.rivals if r.group == now.group or now.ahead or _pair(now, r)]
    labelled = {r.amount for r in rivals if r.strong}
    if rivals and (not now.strong or len(labelled) > 1) and now.low is None and not court.choices:
        return _one_of(made, now, rivals)
    return made


def _pair(now: Seen, other: Seen) -> bool:
    """Two amounts without a word, each in a box of its own beside the other."""
    return now.parent == other.parent and not (_WORD.search(now.text) or _WORD.search(other.text))


_WORD = re.compile(r"[^\W\d_]{2}")


def _one_of(made: Verdict, now: Seen, rivals: list[Seen]) -> Verdict:
    """Of two bare amounts side by side the lower is paid; more of them settle nothing."""
    amounts = sorted({r.amount for r in rivals} | {now.amount})
    pairs = _by_rate([now, *rivals]) if len(amounts) <= MOST_RATED else []
    if len(pairs) == 1:
        price, listed = pairs[0]
        return replace(made, price=price, list_price=listed, note="by the printed percentage")
    beside = all(r.parent == now.parent and r.currency == now.currency for r in rivals)
    if len(amounts) > 2 or not beside:
        return replace(made, **_several(amounts))  # type: ignore[arg-type]  # as above
    return replace(made, price=amounts[0], list_price=amounts[1], note=TWO_BARE)


MOST_RATED = 5


def _by_rate(seen: list[Seen]) -> list[tuple[Decimal, Decimal]]:
    """The price and the old price between which a printed percentage leads."""
    plain = {s.amount: s for s in reversed(seen)}.values()
    return [
        (low.amount, high.amount)
        for low, high in permutations(plain, 2)
        if low.amount < high.amount and was.led_by_rate(low, high)
    ]


def _several(amounts: list[Decimal]) -> dict[str, object]:
    said = ", ".join(str(a) for a in amounts[:6])
    return {"price": None, "doubt": f"{SEVERAL}: {said}"}
