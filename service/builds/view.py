"""Everything that repricing looks at, loaded beforehand, with its indexes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

from service.model.builds import Build, Cut
from service.model.catalogue import Listing, Part, Supplier
from service.model.money import Money, Rates
from service.model.orders import Purchase
from service.model.prices import PriceNow

Rule = Literal["cheapest per unit", "least to spend"]


@dataclass(frozen=True, slots=True)
class Stock:
    """What the user has of a part, in the part's base unit (piece, m, m2, g, ml).

    `coming`: ordered and on its way; not on hand, but not bought again. `offcuts`:
    the bodies by size, where what is free is not one body.
    """

    free: Decimal = Decimal(0)
    coming: Decimal = Decimal(0)
    offcuts: tuple[Cut, ...] = ()


@dataclass(frozen=True, slots=True)
class Holding:
    """Base units of a purchase that lie in one place, from its base unit `start` on.

    `late`: what late bills of the order add to each, in `late_in`.
    """

    purchase: Purchase
    amount: Fraction
    start: Fraction = Fraction(0)
    late: Fraction = Fraction(0)
    late_in: str = "EUR"


@dataclass(frozen=True, slots=True)
class Supplies:
    """How workshop supplies count: a flat sum in `currency` (None: the build's), or a
    fraction of the other lines' share (0.05 = 5 %).
    """

    flat: Decimal | None = None
    fraction: Decimal | None = None
    currency: str | None = None


@dataclass(frozen=True, slots=True)
class PriceView:
    """Prices, rates and stock as they stand at `at`.

    `prices` by listing id, `parts`, `suppliers`, `builds` (for versions) and `on_hand`
    by key; without `on_hand` all that was bought up to `at` is on hand. `markup`:
    fraction that paying in a foreign currency costs on top (0.015). `choose`: the
    listing of each part that an order plan has fixed. `memo`: what was worked out
    from all this once, for the next build. `holdings`: by build what it has taken, under
    "" what is free; without them builds take from `purchases`. `notes`: by part what
    there is to say about what the user has of it. `rates_on`: rates of the days of
    purchases; a day that it lacks counts at `rates`.
    """

    at: datetime
    parts: Mapping[str, Part]
    suppliers: Mapping[str, Supplier]
    listings: Sequence[Listing]
    prices: Mapping[int, PriceNow]
    rates: Rates = field(default_factory=Rates)
    on_hand: Mapping[str, Stock] | None = None
    purchases: Sequence[Purchase] = ()
    destination: str | None = None
    builds: Mapping[str, Build] = field(default_factory=dict)
    rule: Rule = "cheapest per unit"
    choose: Mapping[str, str] = field(default_factory=dict)
    markup: Decimal = Decimal(0)
    fee: Money | None = None  # what the means of payment adds to an order abroad
    supplies: Supplies | None = None
    dismissed: frozenset[str] = frozenset()  # "build/rule" of companion hints put aside
    companion_rules: str = ""  # the user's own, over those that come with the program
    claimed_c: Decimal = Decimal("0.5")  # how much of a seller's discharge rate is believed
    holdings: Mapping[str, Sequence[Holding]] | None = None
    notes: Mapping[str, Sequence[str]] = field(default_factory=dict)
    rates_on: Mapping[date, Rates] = field(default_factory=dict)
    account: str | None = None  # currency that is paid without markup; None: the build's
    import_rules: str = ""  # the user's own, over those that come with the program
    memo: dict[str, Any] = field(default_factory=dict, init=False, compare=False, repr=False)


def stock_of(purchases: Iterable[Purchase], day: date) -> dict[str, Stock]:
    """All that was bought up to `day`, as if nothing had been used yet."""
    found: dict[str, Decimal] = defaultdict(Decimal)
    for purchase in purchases:
        if purchase.on is None or purchase.on <= day:
            found[purchase.part] += purchase.count * purchase.content
    return {part: Stock(free) for part, free in found.items()}


def listings_by_part(listings: Sequence[Listing]) -> dict[str, list[Listing]]:
    """The listings that supply each part, in the order given."""
    found: dict[str, list[Listing]] = defaultdict(list)
    for listing in listings:
        for supply in listing.supplies:
            found[supply.part].append(listing)
    return found
