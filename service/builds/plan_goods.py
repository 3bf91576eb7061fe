"""What an order plan buys: listings with a price, in the steps in which they are sold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil

from scrapers import Amount, Dimension, UnitError, dimension, to_base
from service.builds.amounts import base_amount, mass_of
from service.builds.breaks import cost_of
from service.builds.cents import exact_rate, to_cents
from service.builds.offers import Market, Quote
from service.builds.tax import crosses_customs
from service.model.catalogue import Listing
from service.model.money import quantum


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """An order: at one supplier, sent from one country."""

    supplier: str
    country: str = ""


@dataclass(frozen=True, slots=True)
class Good:
    """A listing as the plan buys it, `step` units of sale at a time.

    `holds`: base units of each part in a step, what else is in the box included. `grams` of a
    step as far as known (`weighed`: of all in it). `groups`: tariff groups with their part of
    the value. `value_rate`: from the page's currency to the supplier's. `net`: from the price
    paid to the value at the border. `least` steps once any is bought.
    """

    quote: Quote
    place: Place
    holds: Mapping[str, Fraction]
    step: Fraction
    least: int
    currency: str
    value_rate: Fraction
    classes: frozenset[str] = frozenset()
    groups: Mapping[str, Fraction] = field(default_factory=dict)
    grams: Fraction = Fraction(0)
    weighed: bool = True
    abroad: bool = False
    net: Fraction = Fraction(1)

    @property
    def listing(self) -> Listing:
        return self.quote.listing

    def units(self, steps: int) -> Fraction:
        """Units of sale."""
        return self.step * steps

    def cents(self, steps: int) -> int:
        """What so many steps cost, in minor units of the build's currency."""
        cost = to_cents(self.quote.cost(self.units(steps)), self.currency)
        return int(cost / quantum(self.currency))

    def value(self, steps: int) -> Fraction:
        """As the shop shows it, in the shop's currency."""
        price = Fraction(self.quote.offer.price)
        return cost_of(price, self.listing.breaks, self.units(steps)) * self.value_rate

    def exact(self, steps: int) -> Fraction:
        """The same unrounded."""
        return self.quote.cost(self.units(steps)) / Fraction(quantum(self.currency))

    def at_border(self, steps: int) -> Fraction:
        """Without tax and markup, in minor units of the build's currency."""
        return self.exact(steps) * self.net


def good_of(quote: Quote, market: Market) -> Good | None:
    """A listing with all that an order of it is judged by. None: no rate to its shop's money."""
    listing, view = quote.listing, market.view
    shop = view.suppliers.get(listing.supplier)
    own = (shop.currency if shop else None) or quote.offer.currency
    rate = exact_rate(view.rates, quote.offer.currency, own)
    if rate is None or any(supply.part not in view.parts for supply in listing.supplies):
        return None
    step = _step(quote)
    supplies = {s.part: market.content(s, view.parts[s.part]) for s in listing.supplies}
    masses = [mass_of(content or Fraction(0), view.parts[key]) for key, content in supplies.items()]
    origin = market.country_of(listing)
    abroad = crosses_customs(origin, view.destination)
    return Good(
        quote=quote,
        place=Place(listing.supplier, origin or ""),
        holds=_holds(listing, supplies, market, step),
        step=step,
        least=_least(quote, step),
        currency=market.currency,
        value_rate=rate[0],
        classes=frozenset(name for key in supplies for name in view.parts[key].classes),
        groups=_groups(listing, market),
        grams=sum((mass for mass in masses if mass is not None), Fraction(0)) * step,
        weighed=None not in masses,
        abroad=abroad,
        net=_net(quote, market),
    )


def _holds(
    listing: Listing, supplies: Mapping[str, Fraction | None], market: Market, step: Fraction
) -> dict[str, Fraction]:
    found: defaultdict[str, Fraction] = defaultdict(Fraction)
    for key, content in supplies.items():
        found[key] += (content or Fraction(0)) * step
    for extra in listing.includes:
        part = market.view.parts.get(extra.part)
        content = market.content(extra, part) if part else None
        if content:
            found[extra.part] += content * step
    return dict(found)


def _step(quote: Quote) -> Fraction:
    """Units of sale in one step: 1, or the part of one that the listing is sold by."""
    step = _base(quote.listing.step, quote)
    return step / quote.content if step else Fraction(1)


def _least(quote: Quote, step: Fraction) -> int:
    return max(1, ceil(_base(quote.listing.least, quote) / quote.content / step))


def _base(amount: Amount | None, quote: Quote) -> Fraction:
    """A least amount or step in base units; a bare count means units of sale."""
    if amount is None:
        return Fraction(0)
    try:
        return base_amount(amount, quote.part)
    except UnitError:
        if dimension(amount.unit) is not Dimension.COUNT:
            raise
        return Fraction(to_base(amount)) * quote.content


def _groups(listing: Listing, market: Market) -> dict[str, Fraction]:
    """Tariff groups with their part of the value; a part without one is its own."""
    found: defaultdict[str, Fraction] = defaultdict(Fraction)
    for supply in listing.supplies:
        group = market.view.parts[supply.part].tariff_group or f"of {supply.part}"
        found[group] += Fraction(supply.split or Fraction(1, len(listing.supplies)))
    return dict(found)


def _net(quote: Quote, market: Market) -> Fraction:
    """The tax of the destination and the markup of paying taken out of the price."""
    return 1 / market.markup(quote.offer.currency) / (1 + Fraction(quote.tax) / 100)
