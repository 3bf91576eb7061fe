"""Prices as they are kept: observations in, spells in the log, visits beside them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from scrapers import Availability, Tax

FRESH_AT_LEAST = timedelta(hours=48)


@dataclass(frozen=True, slots=True)
class Offer:
    """What is sold at what terms: the value that a spell repeats.

    `price` and `list_price` are of one unit of sale in `currency`, as the page
    shows them (`tax` says on which footing).
    """

    price: Decimal
    currency: str
    list_price: Decimal | None = None
    availability: Availability = Availability.UNKNOWN
    tax: Tax = Tax.UNKNOWN


@dataclass(frozen=True, slots=True)
class Observation:
    """One accepted reading of a listing at one time."""

    listing: int
    at: datetime
    offer: Offer
    origin: str = "poll"  # poll | hand | import | page


@dataclass(frozen=True, slots=True)
class Spell:
    """A run of equal offers of a listing, from the first to the last time it was seen.

    `polls`: how often it was confirmed. `longest_gap`: seconds, the longest
    stretch within it that nobody looked.
    """

    listing: int
    offer: Offer
    first_seen: datetime
    last_seen: datetime
    polls: int = 1
    longest_gap: float = 0.0
    origin: str = "poll"


@dataclass(frozen=True, slots=True)
class PriceNow:
    """The offer of a listing that holds at some time, and how far it can be trusted.

    `seen_at`: when it was last confirmed at or before the time asked for.
    `doubtful`: why a newer reading is kept aside, if one is.
    """

    listing: int
    offer: Offer
    seen_at: datetime
    doubtful: str | None = None


def fresh_for(every: timedelta) -> timedelta:
    """How long a price may be used after it was last seen."""
    return max(FRESH_AT_LEAST, 4 * every)
