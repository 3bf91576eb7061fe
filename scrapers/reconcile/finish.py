"""The verdict and everything beside it into a Reading."""

from __future__ import annotations

import re
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
    Tax,
    UnitPrice,
)
from scrapers.readers.claims import Seen
from scrapers.readers.pricelike import AMOUNT
from scrapers.readers.stock import Stock
from scrapers.readers.values import minor_units, rounded
from scrapers.readers.visible import View
from scrapers.reconcile.court import CHOICE_NEEDED, NO_CURRENCY, Court, Verdict
from scrapers.reconcile.names import alike
from scrapers.reconcile.tax import tax_of
from scrapers.reconcile.told import Told
from scrapers.texts import read_sold_as, read_spec, says_few

MAX_EVIDENCE = 60
MAX_VALUE = 120
MAX_SEEN = 30
_SEPARATORS = re.compile(r"\D")
MAX_SPEC_TEXT = 300  # the title tells most of it; the first lines the rest
_GOOD = (Availability.IN_STOCK, Availability.LOW_STOCK)
_OUT = (Availability.OUT_OF_STOCK, Availability.DISCONTINUED)


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
    stock, clash = _availability(court, verdict, around)
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


def _availability(
    court: Court, verdict: Verdict, around: Around
) -> tuple[Availability, Evidence | None]:
    """The stock, and what speaks against it.

    Plain "in stock" of the markup against a page that says sold out is for the user to settle.
    Words of a theme (a limited availability) yield to it; goods in sight against markup
    without any settle nothing, and leave the price clear.
    """
    if verdict.stock is not Availability.UNKNOWN:
        return verdict.stock, None
    lead = [verdict.told] if verdict.told else []
    told = next(
        (
            t.availability
            for t in (*lead, *court.told)
            if t and t.availability is not Availability.UNKNOWN
        ),
        Availability.UNKNOWN,
    )
    if around.rules.availability:
        return around.stock.said, None
    shown = around.stock.said
    if told is Availability.UNKNOWN or (told is Availability.IN_STOCK and _few(shown, around)):
        return shown, None
    seen = shown in _GOOD and around.stock.near
    clash = (told in _GOOD and shown in _OUT) or (told in _OUT and seen)
    proof = around.stock.proof
    if clash and proof is not None and not around.stock.mixed and not court.choices:
        said = f'the markup says {told}, the page says "{proof.value[:40]}"'
        known = shown if shown in _OUT else Availability.UNKNOWN
        known = told if told is Availability.IN_STOCK else known
        return known, Evidence("visible", "doubt", said, proof.where)
    return told, None


def _few(shown: Availability, around: Around) -> bool:
    """Whether words in sight ("only 3 left", not "3 in stock") tell of the last pieces."""
    if shown is not Availability.LOW_STOCK or around.stock.mixed or around.stock.proof is None:
        return False
    return says_few(around.stock.proof.value)


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
    return next((t.choices for t in court.told if len(t.choices) > 1), ())


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


def evidence_of(court: Court, price: Decimal | None = None) -> tuple[Evidence, ...]:
    """What markup and text say of prices; of many amounts in sight surely where `price` stands."""
    found = [proof for told in court.told for proof in _of_told(told)]
    shown = court.shown.all[:MAX_SEEN]
    backing = (court.shown.now, *(s for s in court.shown.all[MAX_SEEN:] if s.amount == price))
    for seen in (*(s for s in backing[:3] if s is not None and s not in shown), *shown):
        name = "price" if seen.kind in ("now", "gross", "low") else seen.kind
        found.append(Evidence("visible", name, _near(seen), seen.where))
    return tuple(found)


def _near(seen: Seen) -> str:
    """The text as it stood; of a long one the piece with the amount."""
    if len(seen.text) <= MAX_VALUE:
        return seen.text
    digits = f"{seen.amount.normalize():f}".replace(".", "").lstrip("0")
    spans = [m.span() for m in AMOUNT.finditer(seen.text)]
    holds = (
        s for s in spans if _SEPARATORS.sub("", seen.text[slice(*s)]).lstrip("0").startswith(digits)
    )
    start, _ = next(holds, spans[0] if spans else (0, 0))
    return seen.text[max(0, start - MAX_VALUE // 2) :][:MAX_VALUE]


def _of_told(told: Told) -> list[Evidence]:
    reader = str(told.source)
    named = (
        ("price", told.text or told.price), ("currency", told.currency),
        ("list_price", told.list_price),
        ("low", told.low), ("high", told.high), ("member_price", told.member_price),
        ("shipping", told.shipping), ("country", told.country),
    )  # fmt: skip
    made = [Evidence(reader, n, str(v)[:120], told.where) for n, v in named if v not in (None, "")]
    if told.availability is not Availability.UNKNOWN:
        made.append(Evidence(reader, "availability", str(told.availability), told.where))
    if told.tax is not Tax.UNKNOWN:
        made.append(Evidence(reader, "tax", str(told.tax), told.where))
    return made


def source_name(source: Source | None) -> str | None:
    """The source as the JSON answer names it."""
    return str(source) if source else None
