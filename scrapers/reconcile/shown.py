"""The amounts in sight into one: the price shown, and what stands around it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal

from scrapers.model import Tax
from scrapers.readers import labels
from scrapers.readers.claims import Seen
from scrapers.readers.places import own_class
from scrapers.readers.pricelike import PRICE_LIKE
from scrapers.reconcile.places import vat_factor

_PAID = ("now", "low", "gross", "regular", "net")


@dataclass(frozen=True, slots=True)
class Shown:
    """`now`: the price in sight, `rivals`: other amounts that could be it.

    `net`: the same price without tax where both stand there; `low`/`high` where a
    range or a "from" is shown.
    """

    now: Seen | None = None
    rivals: tuple[Seen, ...] = ()
    list_price: Decimal | None = None
    net: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    member: Decimal | None = None
    unit: Seen | None = None
    shipping: Seen | None = None
    tax: Tax = Tax.UNKNOWN
    all: tuple[Seen, ...] = ()


def show(seen: tuple[Seen, ...], currency: str | None, country: str | None) -> Shown:
    """The page's own price among its amounts, nearest the heading first."""
    paid = _whole([s for s in seen if s.kind in _PAID])
    units = [s for s in seen if s.kind == "unit"]
    if not paid and not units:
        paid = _of_everyone(seen)
    if not paid and not units:
        return Shown(all=seen, member=_one(seen, "member"))
    level = min(s.level for s in paid or units)
    near = [s for s in paid or units if s.level == level]
    beside = [s for s in seen if s.level <= level + 2]
    now, rivals = _now(_unlisted(near, currency, country))
    now, net, tax = _taxed(now, rivals, currency or now.currency, country)
    return Shown(
        now=now,
        rivals=tuple(
            r for r in rivals if r.amount not in (now.amount, net) and (r.low is None or now.low)
        ),
        list_price=_list(now, beside, currency or now.currency, country),
        net=net,
        low=now.low,
        high=now.high,
        member=_one(tuple(beside), "member"),
        unit=next((s for s in units if s.level <= level + 2), None),
        shipping=next((s for s in beside if s.kind == "shipping"), None),
        tax=tax,
        all=seen,
    )


def _of_everyone(seen: tuple[Seen, ...]) -> list[Seen]:
    """The regular price, where beside it only members pay less: everybody else pays it."""
    members = [s.amount for s in seen if s.kind == "member"]
    return [
        replace(s, kind="now")
        for s in seen
        if s.kind in ("list", "regular")
        and not _is_struck(s)
        and members
        and s.amount > min(members)
    ]


def _whole(paid: list[Seen]) -> list[Seen]:
    """Without the price of one piece of the pack whose price stands there too."""
    packs = [s for s in paid if s.per is None]
    return [s for s in paid if s.per is None or not any(_packs(s, p) for p in packs)]


def _packs(one: Seen, other: Seen) -> bool:
    return one.group == other.group and _times(one.amount, other.amount)


def _times(piece: Decimal, pack: Decimal) -> bool:
    """Whether the pack costs a whole number of times the rounded price of a piece, 2 or more."""
    count = (pack / piece).to_integral_value() if piece > 0 else Decimal(0)
    return count > 1 and abs(count * piece - pack) <= (count + 1) * _HALF_CENT


_HALF_CENT = Decimal("0.005")


def _one(seen: tuple[Seen, ...], kind: str) -> Decimal | None:
    return next((s.amount for s in seen if s.kind == kind), None)


def _unlisted(near: list[Seen], currency: str | None, country: str | None) -> list[Seen]:
    """A "regular" price beside a lower one is the list price; not beside the same without tax."""
    regular = [s for s in near if s.kind == "regular"]
    others = [
        s
        for s in near
        if s.kind != "regular"
        and not (
            s.kind == "net"
            and any(
                vat_factor(s.amount, r.amount, r.currency or currency, country) for r in regular
            )
        )
    ]
    if others and any(
        s.amount > min(o.amount for o in others) for s in near if s.kind == "regular"
    ):
        return others
    return near


def _now(near: list[Seen]) -> tuple[Seen, list[Seen]]:
    plain = [
        s
        for s in near
        if s.kind in ("now", "low", "regular", "gross")
        or (s.kind == "net" and s.tax is Tax.UNKNOWN)  # so named, but nothing says without tax
    ]
    strong = [s for s in plain if s.strong]
    pool = _on_sale(strong) or strong or plain or near
    ranged = [s for s in pool if s.low is not None]
    exact = [s for s in pool if s.low is None]
    first = (exact or ranged or pool)[0]
    if ranged and exact and first.order > ranged[0].order:
        first = ranged[0]
    return first, [s for s in near if s is not first and s.amount != first.amount]


_SALE = re.compile(r"\b(?:sale|special|now|promo|clearance|reduced)\b", re.IGNORECASE)


def _on_sale(strong: list[Seen]) -> list[Seen]:
    """Of several current prices ("Our price", "Sale price") the one on sale, if it is lower."""
    sale = [s for s in strong if _SALE.search(f"{s.label} {s.text} {_named(s)}")]
    rest = [s.amount for s in strong if s not in sale]
    return sale if sale and rest and max(s.amount for s in sale) < min(rest) else []


def _named(seen: Seen) -> str:
    return own_class(seen.node) if seen.node is not None else ""


def _taxed(
    now: Seen, rivals: list[Seen], currency: str | None, country: str | None
) -> tuple[Seen, Decimal | None, Tax]:
    """Of a price with and one without tax the one with it is paid."""
    for other in rivals:
        less, more = sorted((now.amount, other.amount))
        by_vat = vat_factor(less, more, currency, country) is not None
        if other.amount < now.amount and (other.kind == "net" or (now.kind == "gross" and by_vat)):
            return now, other.amount, Tax.INCLUDED
        if other.amount > now.amount and by_vat and (other.kind == "gross" or now.kind == "net"):
            return other, now.amount, Tax.INCLUDED
    return now, None, now.tax


def _list(
    now: Seen, beside: list[Seen], currency: str | None, country: str | None
) -> Decimal | None:
    if now.list_amount is not None and now.list_amount > now.amount:
        return now.list_amount
    higher = [s for s in beside if s.amount > now.amount]
    listed = [
        s
        for s in higher
        if s.kind in ("list", "regular")
        and not any(_prices(p, s, now) for p in beside)
        and not _is_others(s, now)
    ]
    listed = _near(listed, beside, now) or [s for s in higher if _is_old(s, now)]
    if not listed:
        return None
    one = min(listed, key=lambda s: (*_farness(s, now), abs(s.order - now.order))).amount
    gross = (s.amount for s in listed if vat_factor(one, s.amount, currency, country) is not None)
    return next(gross, one) if now.tax is Tax.INCLUDED else one


def _near(listed: list[Seen], beside: list[Seen], now: Seen) -> list[Seen]:
    """Without the old prices of a list of other things: several, none in the price's block."""
    named = [s for s in beside if s.kind in ("list", "regular")]
    far = [s for s in named if s.group != now.group and s.level > now.level]
    return listed if len({s.amount for s in far}) < SEVERAL else [s for s in listed if s not in far]


SEVERAL = 3


def _is_old(seen: Seen, now: Seen) -> bool:
    """A struck lowest price of the last days, or a "discount" beside the price and above it."""
    if seen.kind == "lowest30":
        return _is_struck(seen)
    return seen.kind == "saving" and seen.parent == now.parent and seen.amount < now.amount * 3


def _farness(listed: Seen, now: Seen) -> tuple[bool, bool]:
    """Whether a list price stands outside the price's box, and outside its block."""
    return listed.parent != now.parent, listed.group != now.group


def _is_others(listed: Seen, now: Seen) -> bool:
    """Whether a struck amount further off stands beside another price: that of a special offer."""
    node = listed.node
    if node is None or listed.level <= now.level or listed.group == now.group:
        return False
    behind, at = "", node.next
    while at is not None and len(behind) < MAX_BEHIND:
        behind += at.text() if at.is_element_node else at.text_content or ""
        at = at.next
    behind = behind[:MAX_BEHIND]
    return bool(PRICE_LIKE.search(behind)) and not labels.SAVING.search(behind)


MAX_BEHIND = 40  # characters


def _prices(other: Seen, listed: Seen, now: Seen) -> bool:
    """Whether a list price is that of another amount, in whose box it stands."""
    beside = other.parent == listed.parent != now.parent and listed.group != now.group
    return beside and other.kind in _PAID and now.amount != other.amount < listed.amount


def _is_struck(seen: Seen) -> bool:
    return seen.node is not None and seen.node.tag in ("del", "s", "strike")
