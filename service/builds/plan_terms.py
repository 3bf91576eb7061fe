"""What an order at one place is charged by, brought to the build's currency beforehand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from service.builds.border import Border, border_of
from service.builds.cents import exact_rate, to_cents
from service.builds.delivery import Tier, tiers_of
from service.builds.offers import Market
from service.builds.plan_goods import Good, Place
from service.builds.tax import standard_rate
from service.model.catalogue import Fee, Supplier
from service.model.money import Money, quantum


@dataclass(frozen=True, slots=True)
class Terms:
    """`factor`: minor units of the build's currency for one unit of the shop's, markup and the
    tax of a shop without tax in its prices included. `paying`: the fee of a payment in foreign
    money, minor units, for goods priced in other than `account`. `known` False: what the order
    is charged cannot be told at all.
    `border`: of goods that pass customs; its money in minor units of the build's currency by
    `rates`, and `there` units of its currency for one of these.
    """

    place: Place
    shop: Supplier
    currency: str
    known: bool
    factor: Fraction = Fraction(0)
    tiers: tuple[Tier, ...] = ()
    fees: tuple[Fee, ...] = ()
    paying: int = 0
    account: str = ""
    border: Border | None = None
    rates: Mapping[str, Fraction] = field(default_factory=dict)
    there: Fraction = Fraction(0)

    def cents(self, money: Money | None) -> int:
        """Minor units of the build's currency, rounded."""
        if money is None:
            return 0
        return int(
            to_cents(Fraction(money.amount) * self.rates[money.currency], self.currency)
            / quantum(self.currency)
        )


def terms_of(goods: Sequence[Good], market: Market) -> dict[Place, Terms]:
    """The terms of every place that sells one of the goods."""
    places: dict[Place, list[Good]] = {}
    for good in goods:
        places.setdefault(good.place, []).append(good)
    return {place: _terms(place, places[place], market) for place in sorted(places)}


def _terms(place: Place, goods: Sequence[Good], market: Market) -> Terms:
    view, currency = market.view, market.currency
    shop = view.suppliers.get(place.supplier) or Supplier(place.supplier, place.supplier)
    own = shop.currency or goods[0].quote.offer.currency
    abroad = any(good.abroad for good in goods)
    bare = Terms(place, shop, currency, known=False)
    rate, tax = exact_rate(view.rates, own, currency), _own_tax(shop, market, abroad=abroad)
    told = view.destination is not None or all(row.to == "*" for row in shop.shipping)
    tiers = tiers_of(shop, view.destination) if told else ()
    nowhere = view.destination is not None and not place.country
    if rate is None or tax is None or not tiers or nowhere:
        return bare
    border = border_of(view.destination, view.at.date(), view.import_rules) if abroad else None
    if abroad and (border is None or border.tax is None):
        return bare
    rates = _rates(border, market)
    if rates is None:
        return bare
    step = Fraction(quantum(currency))
    there = exact_rate(view.rates, currency, border.currency) if border else None
    return Terms(
        place=place,
        shop=shop,
        currency=currency,
        known=True,
        factor=rate[0] * market.markup(own) * tax / step,
        tiers=tiers,
        fees=shop.fees,
        paying=_paying(market),
        account=view.account or currency,
        border=border,
        rates=rates,
        there=there[0] * step if there else Fraction(0),
    )


def _own_tax(shop: Supplier, market: Market, *, abroad: bool) -> Fraction | None:
    """On what a shop without tax in its prices charges beside goods; None: no rate is known."""
    if shop.prices != "without-tax" or abroad:
        return Fraction(1)
    percent = standard_rate(market.view.destination or shop.country, market.view.at.date())
    return None if percent is None else 1 + Fraction(percent) / 100


def _rates(border: Border | None, market: Market) -> dict[str, Fraction] | None:
    """Units of the build's currency for one of each that the border's rule names."""
    if border is None:
        return {}
    monies = (border.handling, border.not_under)
    codes = {border.currency, *(money.currency for money in monies if money)}
    found = {code: exact_rate(market.view.rates, code, market.currency) for code in sorted(codes)}
    known = {code: rate[0] for code, rate in found.items() if rate}
    return known if len(known) == len(found) else None


def _paying(market: Market) -> int:
    fee = market.view.fee
    rate = exact_rate(market.view.rates, fee.currency, market.currency) if fee else None
    if fee is None or rate is None:
        return 0
    cost = to_cents(Fraction(fee.amount) * rate[0], market.currency)
    return int(cost / quantum(market.currency))


def unknown_groups(goods: Iterable[Good], border: Border | None) -> list[Good]:
    """Goods whose ordinary duty no rule tells."""
    if border is None:
        return []
    return [good for good in goods if any(border.rate_of(group) is None for group in good.groups)]


@dataclass(frozen=True, slots=True)
class Manner:
    """How a place charges an order: by which row, and whether above the border's limit (None:
    there is none). Without a `tier` the charges cannot be told; `why` "no row": none takes it,
    "duty": of some goods no duty is known, "" for anything else.
    """

    tier: Tier | None = None
    above: bool | None = None
    why: str = ""


def manners_of(terms: Terms, goods: Sequence[Good]) -> list[Manner]:
    """All ways in which orders of these goods may be charged."""
    if not terms.known:
        return [Manner()]
    border = terms.border
    sides = (None,) if border is None or border.up_to is None else (False, True)
    found = [Manner(tier, above) for tier in terms.tiers for above in sides]
    if all(_may_fail(tier) for tier in terms.tiers):
        found.append(Manner(why="no row"))
    if unknown_groups(goods, border):
        found.append(Manner(above=True, why="duty"))
    return found


def _may_fail(tier: Tier) -> bool:
    row = tier.row
    return bool(tier.needs or tier.bars or row.up_to is not None or row.up_to_g is not None)


def allowed(manner: Manner, terms: Terms, goods: Iterable[Good]) -> list[Good]:
    """The goods that may be in an order that is charged so."""
    tier = manner.tier
    if tier is None:
        return list(goods)
    lost = unknown_groups(goods, terms.border) if manner.above is not False else []
    keys = {good.listing.key for good in lost}
    return [
        good
        for good in goods
        if not tier.bars & good.classes
        and (good.weighed or tier.heaviest)
        and good.listing.key not in keys
    ]
