"""Markup that nothing explains against one price in sight: shops forget old markup in a theme."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal

from scrapers.model import Availability, Source
from scrapers.readers import labels, ordering, was
from scrapers.readers.claims import Seen
from scrapers.readers.dom import Doc
from scrapers.readers.pricelike import squeeze
from scrapers.readers.said import prints
from scrapers.readers.visible import View
from scrapers.reconcile.court import Court, Verdict

NEAR = 3  # levels above the heading within which a price and its button are the page's own
FEW = 3  # more order buttons belong to a list
MOST = 3  # times: a greater difference is another unit of sale, not an older price
NOTE = "the markup holds another price than the page shows"
_PAID = ("now", "gross")
# amounts beside the price that could as well be the one that is paid
_RIVALS = ("now", "gross", "net", "low", "regular")


def in_sight(
    doc: Doc, text: Callable[[], str], verdict: Verdict, view: View, court: Court
) -> Verdict:
    """The price in sight, where it alone can be meant: a visitor pays it, whatever markup says.

    Certain is one amount with its currency in a block with the heading and a button that orders,
    without choices or quantity prices, no multiple, tax or cut-off piece of the markup's price.
    """
    now = court.shown.now
    if now is None or verdict.price is not None or " the page shows " not in (verdict.doubt or ""):
        return verdict
    told = [t.price for t in court.told if t.priced and t.price is not None]
    certain = (
        bool(told)
        and _is_price(text, now, view, court, told)
        and 0 < ordering.ordered_within(doc, view.places, now.level) <= FEW
        and (len(told) < 2 or _proved(now, court))
    )
    return _as_seen(verdict, now) if certain else verdict


def lapsed(
    text: Callable[[], str], verdict: Verdict, view: View, court: Court, day: date
) -> tuple[Court, Verdict]:
    """The price in sight against markup whose price held until a day before `day`.

    It is as certain as in `in_sight`, but needs no button; the markup's stock is as old as its
    price.
    """
    now = court.shown.now
    if now is None or verdict.price is not None or " the page shows " not in (verdict.doubt or ""):
        return court, verdict
    priced = [t for t in court.told if t.priced and t.price is not None]
    old = bool(priced) and all(t.until is not None and t.until < day for t in priced)
    told = [t.price for t in priced if t.price is not None]
    if not old or not _is_price(text, now, view, court, told):
        return court, verdict
    kept = tuple(
        replace(t, availability=Availability.UNKNOWN) if t in priced else t for t in court.told
    )
    return replace(court, told=kept), _as_seen(verdict, now)


def _is_price(
    text: Callable[[], str], now: Seen, view: View, court: Court, told: list[Decimal]
) -> bool:
    """Whether an amount in sight can be nothing but the price, and none of what markup tells."""
    return (
        _alone(now, view, court)
        and not _of_some(now, view, court)
        and not any(_related(court, now.amount, price) for price in told)
        and not any(prints(text(), price) for price in told)
    )


def _as_seen(verdict: Verdict, now: Seen) -> Verdict:
    return replace(
        verdict, price=now.amount, currency=now.currency, source=Source.VISIBLE, doubt=None,
        note=NOTE,
    )  # fmt: skip


def _alone(now: Seen, view: View, court: Court) -> bool:
    """Whether it is the one amount of its block that could be the price, with its currency."""
    block = now.level < view.places.body and now.level <= NEAR
    told = now.named or now.strong or now.currency is not None
    plain = now.kind in _PAID and told and now.low is None and now.per is None
    open_ = view.multibuy or view.doubts or court.choices or any(t.choices for t in court.told)
    money = {t.currency for t in court.told if t.priced and t.currency}
    others = any(
        s.kind in _RIVALS and s.level <= now.level and s.amount != now.amount
        and not (s.kind == "regular" and s.amount > now.amount)
        for s in court.shown.all
    )  # fmt: skip
    return block and plain and not open_ and not others and money == {now.currency}


def _of_some(now: Seen, view: View, court: Court) -> bool:
    """Whether the block speaks of members, subscribers or codes, and shows no price of theirs."""
    if any(s.kind in ("member", "saving") and s.level <= now.level + 1 for s in court.shown.all):
        return False
    at = now.node
    while at is not None and at.mem_id not in view.places.above:
        at = at.parent
    text = squeeze(view.places.text(at)[: 2 * MAX_BLOCK])[:MAX_BLOCK] if at is not None else ""
    return bool(labels.MEMBER.search(text) or labels.SET.search(text))


MAX_BLOCK = 1_500


def _related(court: Court, now: Decimal, told: Decimal) -> bool:
    """Whether one amount may be the other in another unit, with tax, or cut off at its cents."""
    less, more = sorted((now, told))
    if less <= 0 or more > less * MOST or more % less == 0:
        return True
    cut = now == int(now) and int(told) == now
    return cut or (now == less and court.vat(less, more))


def _proved(now: Seen, court: Court) -> bool:
    """Whether a list price and the printed percentage both lead to the price in sight."""
    above = [s for s in court.shown.all if s.kind in ("list", "regular") and s.group == now.group]
    return any(s.amount > now.amount and was.led_by_rate(now, s) for s in above)
