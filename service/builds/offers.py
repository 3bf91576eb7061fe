"""What each listing of a part asks at one time, on one footing, and how far it holds."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from scrapers import Amount, Availability, UnitError
from service.builds import texts
from service.builds.amounts import base_amount
from service.builds.breaks import cost_of, units_for
from service.builds.cents import exact_rate, number_text
from service.builds.tax import Footing, footing, standard_rate
from service.builds.view import PriceView, Stock, listings_by_part, stock_of
from service.model.catalogue import Listing, Part, Supply
from service.model.prices import Offer, PriceNow, fresh_for

Status = Literal["priced", "stale", "doubtful", "missing", "out_of_stock", "owned"]

# what is looked at first where several listings have a price
RANK: dict[Status, int] = {"priced": 0, "stale": 1, "doubtful": 2, "out_of_stock": 3}
NOT_TO_BE_HAD = (Availability.OUT_OF_STOCK, Availability.DISCONTINUED)


@dataclass(frozen=True, slots=True)
class Quote:
    """A listing's price for one part.

    `content`: base units of the part in one unit of sale. `factor`: from the page's
    currency and footing to the build's, payment markup included. `split`: this part's
    share of the price (1 unless the listing is a set). `tax`: the destination's, in percent,
    that stands in what it costs (0 where none is known to).
    """

    listing: Listing
    part: Part
    sold_as: Amount
    content: Fraction
    offer: Offer
    status: Status
    age: timedelta
    rate: Fraction
    rate_day: date | None
    factor: Fraction
    split: Fraction
    notes: tuple[str, ...] = ()
    tax: Decimal = Decimal(0)

    def units(self, need: Fraction) -> Fraction:
        """Units of sale to buy for `need` base units."""
        return units_for(self.listing, self.part, self.content, need)

    def cost(self, units: Fraction) -> Fraction:
        """What so many units of sale cost, whole set included, in the build's currency."""
        return cost_of(Fraction(self.offer.price), self.listing.breaks, units) * self.factor

    def each(self, units: Fraction) -> Fraction:
        """The part's share of one unit of sale, when that many are bought."""
        count = max(units, Fraction(1))
        return self.cost(count) / count * self.split

    def per_unit(self, need: Fraction) -> Fraction:
        """What one base unit costs, when `need` of them are bought."""
        return self.each(self.units(need)) / self.content


@dataclass(slots=True)
class Market:
    """The quotes of every part at one time in one currency. Made once for many builds."""

    view: PriceView
    currency: str
    _warnings: dict[str, list[str]] = field(default_factory=dict)
    _by_part: dict[str, list[Listing]] = field(default_factory=dict)
    _quotes: dict[str, list[Quote]] = field(default_factory=dict)
    _rates: dict[str, tuple[Fraction, date | None] | None] = field(default_factory=dict)
    _stock: Mapping[str, Stock] = field(default_factory=dict)

    def __post_init__(self) -> None:
        memo = self.view.memo
        if "by part" not in memo:
            memo["by part"] = listings_by_part(self.view.listings)
        self._by_part = memo["by part"]
        on_hand = self.view.on_hand
        bought = stock_of(self.view.purchases, self.view.at.date()) if on_hand is None else on_hand
        self._stock = bought

    def stock(self, part: str) -> Stock | None:
        """What the user has of the part."""
        return self._stock.get(part)

    @property
    def sold(self) -> Collection[str]:
        """Parts that somebody sells, whether or not a price is known."""
        return self._by_part.keys()

    def listings(self, part: str) -> list[Listing]:
        """Where the part is sold, whether or not a price is known."""
        return self._by_part.get(part, [])

    def country_of(self, listing: Listing) -> str | None:
        """Where the goods come from: the warehouse, else the supplier."""
        supplier = self.view.suppliers.get(listing.supplier)
        return listing.country or (supplier.country if supplier else None)

    def quotes(self, part: Part) -> list[Quote]:
        """Every listing of the part that has a price, single ones and sets."""
        if part.key not in self._quotes:
            self._quotes[part.key] = self._single(part)
            self._quotes[part.key] += self._sets(part)
        return self._quotes[part.key]

    def requote(self, listing: Listing, part: str, now: PriceNow) -> Quote | None:
        """The quote that a new price makes, without keeping it."""
        return self._quote_at(listing, self.view.parts[part], now)

    def _single(self, part: Part) -> list[Quote]:
        found = [self._quote(entry, part) for entry in self.listings(part.key) if not entry.is_set]
        return [quote for quote in found if quote]

    def _sets(self, part: Part) -> list[Quote]:
        found = [self._quote(entry, part) for entry in self.listings(part.key) if entry.is_set]
        return [quote for quote in found if quote]

    def _quote(self, listing: Listing, part: Part) -> Quote | None:
        now = self.view.prices.get(listing.id)
        return None if now is None else self._quote_at(listing, part, now)

    def _quote_at(self, listing: Listing, part: Part, now: PriceNow) -> Quote | None:
        supply = listing.holds(part.key)
        if supply is None:
            return None
        rate = self._rate(now.offer.currency)
        content, split = self.content(supply, part), self._split(listing, part, supply)
        if rate is None:
            self._warn(part, no_rate(now.offer.currency, self.currency, listing))
        if rate is None or content is None or split is None:
            return None
        tax, status = self._footing(listing, part, now.offer), status_of(now, listing, self.view)
        notes = (
            tax.note,
            self._markup_note(now.offer.currency),
            set_note(split, listing),
            why_not(status, now, self.view),
        )
        return Quote(
            listing=listing,
            part=part,
            sold_as=supply.amount,
            content=content,
            offer=now.offer,
            status=status,
            age=self.view.at - now.seen_at,
            rate=rate[0],
            rate_day=rate[1],
            factor=rate[0] * tax.factor * self.markup(now.offer.currency),
            split=split,
            notes=tuple(note for note in notes if note),
            tax=Decimal(0) if tax.unknown else self._tax,
        )

    @property
    def _tax(self) -> Decimal:
        """The destination's standard rate."""
        end = self.view.destination
        return (standard_rate(end, self.view.at.date()) if end else None) or Decimal(0)

    def _rate(self, source: str) -> tuple[Fraction, date | None] | None:
        if source not in self._rates:
            self._rates[source] = exact_rate(self.view.rates, source, self.currency)
        return self._rates[source]

    def markup(self, currency: str) -> Fraction:
        """What paying in a currency multiplies a price with."""
        own = self.view.account or self.currency
        return 1 + Fraction(self.view.markup) if currency != own else Fraction(1)

    def _markup_note(self, currency: str) -> str:
        extra = self.markup(currency) - 1
        return texts.MARKUP.format(percent=number_text(extra * 100)) if extra else ""

    def _footing(self, listing: Listing, part: Part, offer: Offer) -> Footing:
        supplier = self.view.suppliers.get(listing.supplier)
        found = footing(listing, supplier, offer.tax, self.view.destination, self.view.at.date())
        if found.unknown:
            self._warn(part, found.note)
        return found

    def content(self, supply: Supply, part: Part) -> Fraction | None:
        """Base units of the part in one unit of sale; None where they measure differently."""
        try:
            content = base_amount(supply.amount, part)
        except UnitError as error:
            self._warn(part, texts.MIXED_UNITS.format(amount="sold as", part=part.key, why=error))
            return None
        return content if content > 0 else None

    def base(self, amount: Amount, part: Part) -> Fraction | None:
        """`amount` in the part's base unit; None where it measures something else."""
        try:
            return base_amount(amount, part)
        except UnitError:
            return None

    def _split(self, listing: Listing, part: Part, supply: Supply) -> Fraction | None:
        """The part's share of a set's price: the user's, or in proportion to single prices."""
        if not listing.is_set:
            return Fraction(1)
        if supply.split is not None:
            return Fraction(supply.split)
        given = [s.split for s in listing.supplies if s.split is not None]
        left = 1 - sum((Fraction(split) for split in given), Fraction(0))
        values = {s.part: self._worth(s) for s in listing.supplies if s.split is None}
        total = sum((v for v in values.values() if v is not None), Fraction(0))
        worth = values[supply.part]
        if None in values.values() or not total or worth is None:
            if len(values) == 1:
                return left
            self._warn(part, texts.SET_UNSPLIT.format(what=listing.key))
            return None
        return left * worth / total

    def _worth(self, supply: Supply) -> Fraction | None:
        """What the amount would cost bought singly, by the best quote there is."""
        part = self.view.parts.get(supply.part)
        if part is None:
            return None
        need = base_amount(supply.amount, part)
        singles = sorted(
            self._single(part), key=lambda quote: (RANK[quote.status], quote.per_unit(need))
        )
        return singles[0].per_unit(need) * need if singles else None

    def _warn(self, part: Part, text: str) -> None:
        """Say something about a part once."""
        said = self._warnings.setdefault(part.key, [])
        if text not in said:
            said.append(text)

    def warnings(self, parts: Iterable[str]) -> list[str]:
        """What there is to say about the prices of these parts, each once."""
        found = [text for part in parts for text in self._warnings.get(part, ())]
        return list(dict.fromkeys(found))


def market_of(view: PriceView, currency: str) -> Market:
    """The one market of the view in a currency: every further build finds its quotes made."""
    key = f"market {currency}"
    if key not in view.memo:
        view.memo[key] = Market(view, currency)
    found: Market = view.memo[key]
    return found


def status_of(now: PriceNow, listing: Listing, view: PriceView) -> Status:
    """Whether the price may be used: not old, not in doubt, and the goods to be had."""
    if now.offer.availability in NOT_TO_BE_HAD:
        return "out_of_stock"
    if now.doubtful is not None:
        return "doubtful"
    return "stale" if view.at - now.seen_at > fresh_for(listing.every) else "priced"


def no_rate(source: str, target: str, listing: Listing) -> str:
    """Why a listing has no price in the build's currency."""
    return texts.NO_RATE.format(source=source, target=target, what=listing.key)


def hours(age: timedelta) -> int:
    """Whole hours, never less than 0."""
    return max(0, int(age.total_seconds() // 3600))


def why_not(status: Status, now: PriceNow, view: PriceView) -> str:
    """The sentence beside a price that cannot be used as it is."""
    if status == "stale":
        return texts.STALE.format(age=texts.age_text(hours(view.at - now.seen_at)))
    if status == "doubtful":
        return texts.DOUBTFUL.format(reason=now.doubtful)
    return texts.OUT_OF_STOCK if status == "out_of_stock" else ""


def set_note(split: Fraction, listing: Listing) -> str:
    """What a set says about its share, nothing for a single listing."""
    if not listing.is_set:
        return ""
    return texts.SET.format(percent=f"{Decimal(round(split * 1000)) / 10:f}")
