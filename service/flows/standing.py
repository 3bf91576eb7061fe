"""Where a target's subject stands: load, convert, compare on the footing of the whole book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount, to_base
from service.builds.cents import to_decimal
from service.builds.cost import price_in
from service.builds.offers import Market, Quote
from service.builds.requirements import meets
from service.builds.view import PriceView
from service.deals.evaluate import Standing
from service.flows.ports import ListingState, Unit
from service.model.catalogue import Listing, Part
from service.model.deals import Target
from service.model.money import Money
from service.model.prices import Spell
from service.prices.stats import describe

NO_PRICE = "no price that can be trusted"
NOT_DELIVERED = "what delivery costs is not known"
DIGITS = 9


@dataclass(frozen=True, slots=True)
class Known:
    """What targets are judged by, loaded once a batch."""

    unit: Unit
    view: PriceView
    states: Mapping[int, ListingState]
    at: datetime


def standing(target: Target, known: Known) -> Standing:
    """Where the target's subject stands at `known.at`."""
    if target.kind == "build":
        return _of_build(target, known)
    if target.kind == "listing":
        return _of_listing(target, known)
    return _of_parts(target, known)


def currency_of(target: Target, known: Known) -> str:
    """In which currency the target compares."""
    money = target.at_or_below or target.unit_at_or_below
    if money:
        return money.currency
    if target.kind == "build" and target.subject in known.view.builds:
        return known.view.builds[target.subject].currency
    return _currency_shown(target, known) or "EUR"


def _currency_shown(target: Target, known: Known) -> str | None:
    for listing in known.view.listings:
        named = target.subject in (listing.key, listing.url) or listing.holds(target.subject)
        if named and listing.id in known.view.prices:
            return known.view.prices[listing.id].offer.currency
    return None


def _of_build(target: Target, known: Known) -> Standing:
    build = known.view.builds.get(target.subject)
    if build is None:
        return Standing(unknown="no such build")
    cost = price_in(build, Market(known.view, build.currency))
    trusted = all(line.status in ("priced", "owned") for line in cost.lines)
    which = target.within_budget or "share"
    total = getattr(cost.totals, which)
    if total is None:
        return Standing(unknown=NOT_DELIVERED if which == "delivered" else NO_PRICE)
    value = Money(total, build.currency)
    if target.at_or_below and target.at_or_below.currency != build.currency:
        converted = known.view.rates.convert(value, target.at_or_below.currency)
        if converted is None:
            return Standing(unknown="no exchange rate")
        value = Money(converted, target.at_or_below.currency)
    return Standing(
        value=value,
        budget=build.budget,
        complete=cost.totals.complete and trusted,
        evidence=({"reader": "total", "field": which, "value": str(value), "where": build.key},),
    )


def _of_listing(target: Target, known: Known) -> Standing:
    listing = next((x for x in known.view.listings if target.subject in (x.key, x.url)), None)
    if listing is None:
        return Standing(unknown="no such listing")
    if _is_gone(listing, known):
        return Standing(gone=True)
    part = known.view.parts[listing.supplies[0].part]
    quotes = _quotes(part, target, known, only=listing)
    return _best(target, known, quotes, of_listing=True) or _nothing(target, [listing], known)


def _of_parts(target: Target, known: Known) -> Standing:
    parts = _parts(target, known)
    listings = [entry for entry in known.view.listings if any(entry.holds(p.key) for p in parts)]
    if listings and all(_is_gone(entry, known) for entry in listings):
        return Standing(gone=True)
    quotes = [quote for part in parts for quote in _quotes(part, target, known)]
    return _best(target, known, quotes) or _nothing(target, listings, known)


def _parts(target: Target, known: Known) -> list[Part]:
    if target.kind == "need":
        return [part for part in known.view.parts.values() if meets(part, target.need)]
    part = known.view.parts.get(target.subject)
    return [part] if part else []


def _quotes(part: Part, target: Target, known: Known, only: Listing | None = None) -> list[Quote]:
    market = Market(known.view, currency_of(target, known))
    return [
        quote
        for quote in market.quotes(part)
        if quote.status == "priced"
        and (only is None or quote.listing.key == only.key)
        and not _is_gone(quote.listing, known)
    ]


def _is_gone(listing: Listing, known: Known) -> bool:
    state = known.states.get(listing.id)
    return state is not None and state.last_outcome == "gone"


def _per(quote: Quote, unit: str) -> Decimal:
    """The price of one `unit` of the part, bought in the least quantity."""
    size = Fraction(to_base(Amount(Decimal(1), unit), pair_is=quote.part.pair_is))
    return to_decimal(quote.per_unit(Fraction(0)) * size, DIGITS)


def _best(
    target: Target, known: Known, quotes: Sequence[Quote], *, of_listing: bool = False
) -> Standing | None:
    if not quotes:
        return None
    best = min(quotes, key=lambda quote: quote.per_unit(Fraction(0)))
    currency = currency_of(target, known)
    whole = to_decimal(best.cost(Fraction(1)), DIGITS)
    value = whole if of_listing else _per(best, best.part.unit)
    spells = known.unit.log.spells([best.listing.id])
    return Standing(
        value=Money(value, currency),
        unit_value=Money(_per(best, target.per), currency) if target.per else None,
        listing=best.listing.key,
        since=_since(spells),
        available=True,
        regular=_scaled(_regular(spells, known), best, value),
        lowest_before=_scaled(_lowest_before(target, spells, known), best, value),
        evidence=_evidence(best.listing, known),
    )


def _scaled(price: Decimal | None, quote: Quote, value: Decimal) -> Decimal | None:
    """A price of the page as the target counts: per unit, in its currency, on its footing."""
    return None if price is None else price / quote.offer.price * value


def _regular(spells: Sequence[Spell], known: Known) -> Decimal | None:
    return describe(spells, [], at=known.at).regular if spells else None


def _lowest_before(target: Target, spells: Sequence[Spell], known: Known) -> Decimal | None:
    """The lowest of the span before the present price began; None where nothing was seen."""
    since = _since(spells)
    if target.lowest_in is None or since is None:
        return None
    start = known.at - target.lowest_in
    earlier = [s for s in spells if s.first_seen < since and s.last_seen >= start]
    return min((spell.offer.price for spell in earlier), default=None)


def _since(spells: Sequence[Spell]) -> datetime | None:
    """When the present price began: changes of stock or list price do not count."""
    since = None
    for spell in reversed(spells):
        if since is not None and spell.offer.price != spells[-1].offer.price:
            break
        since = spell.first_seen
    return since


def _evidence(listing: Listing, known: Known) -> tuple[dict[str, object], ...]:
    state = known.states.get(listing.id)
    return tuple(dict(item) for item in state.evidence) if state else ()


def _nothing(target: Target, listings: Sequence[Listing], known: Known) -> Standing:
    """No usable price: sold out is a fact, anything else is not known."""
    now = [known.view.prices.get(entry.id) for entry in listings]
    sold_out = bool(now) and all(
        price is not None and price.offer.availability in ("out_of_stock", "discontinued")
        for price in now
    )
    if target.back_in_stock and sold_out:
        return Standing(available=False)
    return Standing(unknown=NO_PRICE)
