"""The verdict and everything beside it into a Reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from scrapers.model import (
    Availability,
    Choice,
    Evidence,
    Ids,
    Multibuy,
    Outcome,
    Reading,
    SiteRules,
    Source,
    UnitPrice,
)
from scrapers.readers.stock import Stock
from scrapers.readers.values import minor_units, rounded
from scrapers.readers.visible import View
from scrapers.reconcile.available import available
from scrapers.reconcile.court import CHOICE_NEEDED, NO_CURRENCY, Court, Verdict
from scrapers.reconcile.names import alike
from scrapers.reconcile.proofs import evidence_of
from scrapers.reconcile.tax import tax_of
from scrapers.texts import read_sold_as, read_spec

MAX_EVIDENCE = 60
MAX_SPEC_TEXT = 300  # the title tells most of it; the first lines the rest


@dataclass(frozen=True, slots=True)
class Around:
    """What is known beside the price."""

    rules: SiteRules
    view: View
    title: str | None
    stock: Stock
    choices: tuple[Choice, ...]
    choices_where: str
    text: Callable[[], str]
    net: Decimal | None = None
    evidence: tuple[Evidence, ...] = ()


def reading(court: Court, verdict: Verdict, around: Around) -> Reading:
    """A Reading with its outcome: ok, or doubtful with the reason."""
    title = _title(court, around)
    ids = _ids(court)
    stock, clash = available(court, verdict, around.stock, ruled=bool(around.rules.availability))
    doubt = verdict.doubt or _garbled(around) or _other_goods(around.rules.ids, ids)
    doubt = doubt or (clash.value if clash and stock is Availability.IN_STOCK else None)
    currency = verdict.currency or around.rules.currency
    doubt = doubt or _fractions(verdict, currency, around.view.multibuy)
    if doubt is None:
        doubt = CHOICE_NEEDED if verdict.price is None else None if currency else NO_CURRENCY
    choices = _choices(court, around)
    multibuy = _multibuy(court, around)
    low, high = _range(verdict, multibuy)
    return Reading(
        outcome=Outcome.DOUBTFUL if doubt else Outcome.OK,
        reason=doubt,
        title=title,
        price=_money(verdict.price, currency),
        currency=currency,
        list_price=_money(verdict.list_price, currency),
        low=_money(low, currency),
        high=_money(high, currency),
        availability=stock,
        tax=tax_of(court, verdict, around.text, around.net, around.rules.prices),
        unit_price=_unit(court),
        sold_as=_sold_as(title) if title else None,
        ids=ids,
        spec=dict(_spec(title, _description(court)[:MAX_SPEC_TEXT])) if title else {},
        choices=choices,
        multibuy=multibuy,
        member_price=_money(verdict.member or _member(court), currency),
        shipping=next((t.shipping for t in court.told if t.shipping is not None), None)
        or (court.shown.shipping.amount if court.shown.shipping else None),
        source=verdict.source if verdict.price is not None or verdict.low is not None else None,
        evidence=(*((clash,) if clash else ()), *evidence(court, around, verdict.price)),
    )


def _fractions(verdict: Verdict, currency: str | None, rows: tuple[Multibuy, ...]) -> str | None:
    """More decimals than the currency has: misread in sight, another currency in markup.

    Markup may hold the unrounded net amount of a currency that has cents, and parts by the
    hundred have such prices in all rows.
    """
    price = verdict.price
    if minor_units(currency) and any(rounded(m.price, currency) != m.price for m in rows):
        return None
    strict = verdict.source is Source.VISIBLE or minor_units(currency) == 0
    if price is None or not strict or rounded(price, currency) == price:
        return None
    return f"{currency or 'the currency'} has no such fractions"


def _range(
    verdict: Verdict, multibuy: tuple[Multibuy, ...]
) -> tuple[Decimal | None, Decimal | None]:
    """Low and high; the price of a tier is no lower end of what one unit costs."""
    if verdict.price is not None and verdict.low in {m.price for m in multibuy}:
        return None, None
    return verdict.low, verdict.high


def _money(amount: Decimal | None, currency: str | None) -> Decimal | None:
    return rounded(amount, currency) if amount is not None else None


def _member(court: Court) -> Decimal | None:
    return next((t.member_price for t in court.told if t.member_price), None)


def _title(court: Court, around: Around) -> str | None:
    told = next((t.title for t in court.told if t.title and t.own), None)
    heading = around.view.title or None
    if around.title:
        return around.title
    if told and (heading is None or alike(told, heading)):
        return told
    return heading or told


def _ids(court: Court) -> Ids:
    held = [t.ids for t in court.told if t.own]
    return Ids(
        gtin=next((i.gtin for i in held if i.gtin), None),
        mpn=next((i.mpn for i in held if i.mpn), None),
        sku=next((i.sku for i in held if i.sku), None),
        brand=next((i.brand for i in held if i.brand), None),
    )


def _other_goods(known: Ids | None, ids: Ids) -> str | None:
    """The page's identity against what the listing was: strongest identifier first."""
    if known is None:
        return None
    for name in ("gtin", "mpn", "sku"):
        was, now = getattr(known, name), getattr(ids, name)
        if was and now:
            if _bare(was) == _bare(now):
                return None
            return f"the page may sell something else now ({name} {now} instead of {was})"
    return None


def _bare(value: str) -> str:
    return "".join(c for c in value.casefold() if c.isalnum()).lstrip("0")


def _garbled(around: Around) -> str | None:
    return "the page's text is damaged at the price" if around.view.garbled else None


def _unit(court: Court) -> UnitPrice | None:
    seen = court.shown.unit
    if seen is not None and seen.per:
        return UnitPrice(seen.amount, seen.per)
    return next((t.unit_price for t in court.told if t.unit_price), None)


def _description(court: Court) -> str:
    return next((t.description for t in court.told if t.description), None) or ""


@lru_cache(maxsize=4096)  # a listing is read many times under one title
def _sold_as(title: str) -> str | None:
    """A suggestion to confirm; None where the user must be asked."""
    told = read_sold_as(title)
    return told.text if told is not None and told.ask is None else None


@lru_cache(maxsize=4096)
def _spec(title: str, description: str) -> tuple[tuple[str, str], ...]:
    told = read_spec(title, description)
    said = (("conflicts", "; ".join(told.conflicts)),) if told.conflicts else ()
    return (*told.values.items(), *said)


def _choices(court: Court, around: Around) -> tuple[Choice, ...]:
    if around.choices:
        return around.choices
    return next((t.choices for t in court.told if _differ(t.choices)), ())


def _differ(choices: tuple[Choice, ...]) -> bool:
    """Whether a user can tell them apart; not the rows of quantities, not offers of sellers."""
    return len({(c.name, c.sku, c.country) for c in choices}) > 1


def _multibuy(court: Court, around: Around) -> tuple[Multibuy, ...]:
    told = next((t.multibuy for t in court.told if t.multibuy), ())
    return tuple(dict.fromkeys((*told, *around.view.multibuy)))[:20]


def evidence(court: Court, around: Around, price: Decimal | None) -> tuple[Evidence, ...]:
    """Every candidate with its place, the sources of markup first."""
    found = [*around.evidence, *around.view.proofs, *evidence_of(court, price)]
    if around.stock.proof is not None:
        found.append(around.stock.proof)
    if around.choices_where:
        found.append(Evidence("state", "choices", str(len(around.choices)), around.choices_where))
    found += [Evidence("visible", "doubt", d[:120], "") for d in around.view.doubts[:5]]
    return tuple(found[:MAX_EVIDENCE])
