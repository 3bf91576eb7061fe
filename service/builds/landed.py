"""An order delivered: shipping, the supplier's fees, duty, import tax, the fee of paying.

What `delivered` adds to `to spend`, and what an order plan counts for the same lots.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from service.builds import texts
from service.builds.amounts import mass_of
from service.builds.breaks import cost_of
from service.builds.cents import exact_rate, to_cents
from service.builds.delivery import Parcel, cheapest, fee_of, fees_due, tiers_of, zone_of
from service.builds.offers import Market, Quote
from service.builds.tax import crosses_customs, standard_rate
from service.model.catalogue import Fee, Supplier
from service.model.money import Money

if TYPE_CHECKING:
    from service.builds.border import Border

NONE = Fraction(0)
ANYWHERE = "*"


@dataclass(frozen=True, slots=True)
class Lot:
    """So many units of sale of one listing."""

    quote: Quote
    units: Fraction


Net = tuple[Lot, Fraction]  # goods without tax and markup, in the build's currency


@dataclass(frozen=True, slots=True)
class Charge:
    """What an order costs beside its goods, in the build's currency."""

    name: str
    cost: Decimal


@dataclass(frozen=True, slots=True)
class Landed:
    """An order at one supplier from one `country`. `goods` and `charges` in `currency`, the
    build's.

    `unknown`: why the charges cannot be told; `notes`: what there is to know about it;
    `abroad`: it is paid in foreign money.
    """

    supplier: str
    country: str | None
    currency: str
    goods: Decimal
    abroad: bool = False
    charges: tuple[Charge, ...] = ()
    unknown: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def extra(self) -> Decimal | None:
        """What it costs beside the goods; below 0 where goods so cheap bear no import tax."""
        if self.unknown:
            return None
        return sum((charge.cost for charge in self.charges), Decimal(0))


class Unknown(Exception):  # noqa: N818  no error: what is not known is told, not raised further
    """Something that the order's charges need is not known."""


def landed(lots: Sequence[Lot], market: Market) -> Landed:
    """What one order of these lots, all of one supplier and country, costs beside its goods."""
    order = _Order(lots, market)
    goods = sum((to_cents(x.quote.cost(x.units), market.currency) for x in lots), Decimal(0))
    bare = Landed(order.shop.key, order.country, market.currency, goods, order.foreign)
    try:
        charges = tuple(one for one in order.charges() if one.cost)
    except Unknown as error:
        return replace(bare, unknown=tuple(error.args))
    return replace(bare, charges=charges, notes=order.notes())


class _Order:
    """Works out one order in the build's currency."""

    def __init__(self, lots: Sequence[Lot], market: Market) -> None:
        self.lots, self.market, self.view = lots, market, market.view
        key = lots[0].quote.listing.supplier
        self.shop = self.view.suppliers.get(key) or Supplier(key, key)
        self.currency = self.shop.currency or lots[0].quote.offer.currency
        self.country, self.to = market.country_of(lots[0].quote.listing), self.view.destination
        self.parts = [self.view.parts[key] for key in self._keys() if key in self.view.parts]
        self.classes = frozenset(name for part in self.parts for name in part.classes)

    def charges(self) -> Iterable[Charge]:
        """In the order in which an invoice names them."""
        carriage = self._in_build(self.shipping)
        fees = [self._in_build(fee_of(fee, self.value)) for fee in self._fees]
        yield self._charge(texts.SHIPPING, carriage)
        for fee, cost in zip(self._fees, fees, strict=True):
            yield self._charge(fee.name, cost)
        yield from self._border(carriage + sum(fees, NONE))
        yield self._charge(texts.FOR_PAYING, self._paying())

    def notes(self) -> tuple[str, ...]:
        """What the supplier does not take, and what the mass of the goods is not known for."""
        found = []
        if self.shop.min_order is not None and self.value < self.shop.min_order:
            least = Money(self.shop.min_order, self.currency)
            found.append(self._lacks(texts.UNDER_LEAST, value=self._worth(), least=least))
        if any(row.up_to_g is not None for row in zone_of(self.shop, self.to)):
            masses = [pair for lot in self.lots for pair in self._masses(lot).items()]
            lacking = ", ".join(dict.fromkeys(key for key, mass in masses if mass is None))
            unweighed = texts.UNWEIGHED.format(shop=self.shop.name, parts=lacking)
            found += [unweighed] if lacking else []
        return tuple(found)

    def _keys(self) -> list[str]:
        return list(dict.fromkeys(s.part for lot in self.lots for s in lot.quote.listing.supplies))

    def _charge(self, name: str, cost: Fraction) -> Charge:
        return Charge(name, to_cents(cost, self.market.currency))

    @cached_property
    def value(self) -> Fraction:
        """The order's value at page prices, in the supplier's currency."""
        return sum((self._page_value(lot) for lot in self.lots), NONE)

    def _page_value(self, lot: Lot) -> Fraction:
        offer = lot.quote.offer
        cost = cost_of(Fraction(offer.price), lot.quote.listing.breaks, lot.units)
        return cost * self._rate(offer.currency, self.currency)

    def _rate(self, source: str, target: str) -> Fraction:
        rate = exact_rate(self.view.rates, source, target)
        if rate is None:
            raise Unknown(texts.NO_RATE_OF.format(source=source, target=target))
        return rate[0]

    @cached_property
    def shipping(self) -> Fraction:
        """In the supplier's currency as its row says."""
        known = self.to is not None or all(row.to == ANYWHERE for row in self.shop.shipping)
        if not known:
            raise Unknown(texts.NO_DESTINATION)
        tiers = tiers_of(self.shop, self.to)
        if not tiers:
            raise Unknown(self._lacks(texts.NO_ROW))
        found = cheapest(tiers, self._parcel())
        if found is None:
            raise Unknown(self._lacks(texts.NO_ROW_FITS, value=self._worth()))
        return Fraction(found.fee)

    def _lacks(self, pattern: str, **more: object) -> str:
        to = self.to or ANYWHERE
        return pattern.format(shop=self.shop.name, key=self.shop.key, to=to, **more)

    def _worth(self) -> Money:
        return Money(to_cents(self.value, self.currency), self.currency)

    def _parcel(self) -> Parcel:
        if all(row.up_to_g is None for row in zone_of(self.shop, self.to)):
            return Parcel(self.value, NONE, True, self.classes)  # no row asks for the mass
        masses = [mass for lot in self.lots for mass in self._masses(lot).values()]
        known = sum((mass for mass in masses if mass is not None), NONE)
        return Parcel(self.value, known, None not in masses, self.classes)

    def _masses(self, lot: Lot) -> dict[str, Fraction | None]:
        """Grams of each part that the lot brings."""
        found: dict[str, Fraction | None] = {}
        for supply in lot.quote.listing.supplies:
            part = self.view.parts.get(supply.part)
            content = self.market.content(supply, part) if part else None
            heavy = mass_of(content * lot.units, part) if part and content else None
            found[supply.part] = heavy
        return found

    @cached_property
    def _fees(self) -> tuple[Fee, ...]:
        return fees_due(self.shop, self.classes)

    def _in_build(self, cost: Fraction) -> Fraction:
        """What the supplier charges beside goods: at the day's rate, with markup and tax."""
        rate = self._rate(self.currency, self.market.currency)
        return cost * rate * self.market.markup(self.currency) * self._own_tax

    @property
    def _own_tax(self) -> Fraction:
        """On what a supplier without tax in its prices charges; at the border it comes there."""
        if self.shop.prices != "without-tax" or self._abroad:
            return Fraction(1)
        percent = standard_rate(self.to or self.shop.country, self.view.at.date())
        if percent is None:
            raise Unknown(self._lacks(texts.NO_TAX_RATE))
        return 1 + Fraction(percent) / 100

    @cached_property
    def _abroad(self) -> bool:
        """Whether the goods pass customs."""
        if self.country is None and self.to is not None:
            raise Unknown(self._lacks(texts.NO_COUNTRY))
        return crosses_customs(self.country, self.to)

    def _border(self, carriage: Fraction) -> Iterable[Charge]:
        """Duty, tax on all that `to spend` does not hold already, the carrier's fee."""
        if not self._abroad or self.to is None:
            return
        from service.builds.border import border_of  # noqa: PLC0415  start-up time

        rule = border_of(self.to, self.view.at.date(), self.view.import_rules)
        if rule is None or rule.tax is None:
            raise Unknown(self._lacks(texts.NO_BORDER))
        yield from self._at(rule, carriage)

    def _at(self, rule: Border, carriage: Fraction) -> list[Charge]:
        from service.builds.border import Consignment, import_cost  # noqa: PLC0415

        net = [(lot, self._net(lot)) for lot in self.lots]
        value = sum((one for _, one in net), NONE)
        monies = [rule.handling, rule.not_under, Money(rule.a_group, rule.currency)]
        codes = {money.currency for money in monies if money is not None}
        rates = {code: self._rate(code, self.market.currency) for code in codes}
        there = self._rate(self.market.currency, rule.currency)
        sent = Consignment(self._by_group(net), carriage, value * there)
        found = import_cost(rule, sent, self.market.currency, rates)
        if found.unknown:
            raise Unknown(f"{self._lacks(texts.NO_DUTY)} ({found.unknown})")
        taxed = (one * Fraction(lot.quote.tax) / 100 for lot, one in net)
        held = to_cents(sum(taxed, NONE), self.market.currency)
        return [
            Charge(texts.DUTY, found.duty),
            Charge(texts.IMPORT_TAX, found.tax - held),
            Charge(texts.CLEARANCE, found.handling),
        ]

    def _net(self, lot: Lot) -> Fraction:
        """Goods without the tax that they hold and markup, in the build's currency."""
        gross = lot.quote.cost(lot.units) / self.market.markup(lot.quote.offer.currency)
        return gross / (1 + Fraction(lot.quote.tax) / 100)

    def _by_group(self, net: Sequence[Net]) -> dict[str, Fraction]:
        """By tariff group; a part without one is taken for a group of its own."""
        found: dict[str, Fraction] = {}
        for lot, value in net:
            supplies = lot.quote.listing.supplies
            for supply in supplies:
                part = self.view.parts.get(supply.part)
                group = (part and part.tariff_group) or f"of {supply.part}"
                split = Fraction(supply.split or Fraction(1, len(supplies)))
                found[group] = found.get(group, NONE) + value * split
        return found

    @property
    def foreign(self) -> bool:
        """Whether anything in it is paid in other than the user's own money."""
        own = self.view.account or self.market.currency
        return any(lot.quote.offer.currency != own for lot in self.lots)

    def _paying(self) -> Fraction:
        """The fee of the user's means of payment for an order in foreign money."""
        fee = self.view.fee
        if fee is None or not self.foreign:
            return NONE
        return Fraction(fee.amount) * self._rate(fee.currency, self.market.currency)
