"""The values that pass between pages, readers, fetcher and service. All frozen."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Literal, NamedTuple


class Outcome(StrEnum):
    """The class of a visit. Only OK and UNCHANGED may touch the price log."""

    OK = "ok"
    UNCHANGED = "unchanged"
    UNREACHABLE = "unreachable"
    THROTTLED = "throttled"
    BARRED = "barred"
    REFUSED = "refused"
    TOO_LARGE = "too_large"
    BROKEN = "broken"
    NOT_PRODUCT = "not_product"
    DOUBTFUL = "doubtful"
    GONE = "gone"


class Availability(StrEnum):
    """Whether the page says that the goods can be had."""

    IN_STOCK = "in_stock"
    LOW_STOCK = "low_stock"
    PREORDER = "preorder"
    BACKORDER = "backorder"
    OUT_OF_STOCK = "out_of_stock"
    DISCONTINUED = "discontinued"
    UNKNOWN = "unknown"


class Tax(StrEnum):
    """Whether the price holds value added tax."""

    INCLUDED = "included"
    EXCLUDED = "excluded"
    UNKNOWN = "unknown"


class Source(StrEnum):
    """Which reader gave the price."""

    JSONLD = "jsonld"
    MICRODATA = "microdata"
    RDFA = "rdfa"
    META = "meta"
    STATE = "state"
    VISIBLE = "visible"
    RULE = "rule"


@dataclass(frozen=True, slots=True)
class Page:
    """One page as it came over the wire, content encoding already undone."""

    url: str
    body: bytes
    content_type: str | None
    fetched_at: datetime
    complete: bool = True  # False: a body without length whose connection closed early


@dataclass(frozen=True, slots=True)
class Evidence:
    """Where a value stood. `reader` is a Source; `where` a CSS path or JSON path."""

    reader: str
    field: str
    value: str
    where: str


@dataclass(frozen=True, slots=True)
class Choice:
    """A variant that the page offers (size, plug, warehouse) with its own price."""

    name: str
    sku: str | None = None
    price: Decimal | None = None
    currency: str | None = None
    availability: Availability = Availability.UNKNOWN
    country: str | None = None  # of a warehouse, ISO 3166-1 alpha-2


@dataclass(frozen=True, slots=True)
class Multibuy:
    """A price that needs `quantity` units: for the lot, or for each of them."""

    quantity: int
    price: Decimal
    per: Literal["lot", "each"]


@dataclass(frozen=True, slots=True)
class UnitPrice:
    """A reference price: `price` for `per` (as the page wrote it, e.g. "m", "100 g")."""

    price: Decimal
    per: str


@dataclass(frozen=True, slots=True)
class Ids:
    """What the page calls the product, in the identifiers of the trade."""

    gtin: str | None = None
    mpn: str | None = None
    sku: str | None = None
    brand: str | None = None


@dataclass(frozen=True, slots=True)
class SiteRules:
    """What the user and the catalogue know about a page before it is read.

    `price`, `list_price`, `availability`, `title`: a rule text, one of
    `css:SELECTOR`, `css:SELECTOR@ATTRIBUTE`, `json:PATH`, `re:PATTERN` (RE2,
    first group), or None. `choice`: name or SKU of the variant that is meant.
    `currency`, `country`, `locale`: what to assume where the page is silent.
    `prices`: whether the supplier shows prices with tax.
    """

    price: str | None = None
    list_price: str | None = None
    availability: str | None = None
    title: str | None = None
    currency: str | None = None
    country: str | None = None
    locale: str | None = None
    choice: str | None = None
    prices: Literal["with-tax", "without-tax"] | None = None
    ids: Ids | None = None  # what the listing was when it was added: another one is doubtful


@dataclass(frozen=True, slots=True)
class Reading:
    """What one page said at one visit.

    `outcome` is OK, DOUBTFUL, NOT_PRODUCT, BARRED, TOO_LARGE or BROKEN. `price` is what one
    unit of sale costs a visitor now at quantity 1, in `currency` (ISO 4217).
    With DOUBTFUL, `reason` says what could not be settled and `evidence` holds
    every candidate.
    """

    outcome: Outcome
    reason: str | None = None
    title: str | None = None
    price: Decimal | None = None
    currency: str | None = None
    list_price: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    availability: Availability = Availability.UNKNOWN
    tax: Tax = Tax.UNKNOWN
    unit_price: UnitPrice | None = None
    sold_as: str | None = None
    ids: Ids = field(default_factory=Ids)
    spec: dict[str, str] = field(default_factory=dict)
    choices: tuple[Choice, ...] = ()
    multibuy: tuple[Multibuy, ...] = ()
    member_price: Decimal | None = None
    shipping: Decimal | None = None
    source: Source | None = None
    evidence: tuple[Evidence, ...] = ()


class PriceText(NamedTuple):  # made for every amount of a page: a frozen dataclass costs more
    """What a price text says. See `scrapers.texts.read_price` for the rules."""

    amount: Decimal | None = None
    currency: str | None = None
    list_amount: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    multibuy: tuple[Multibuy, ...] = ()
    per: str | None = None
    tax: Tax = Tax.UNKNOWN
    doubt: str | None = None


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity as a person wrote it: `value` of `unit` (a key of the unit table).

    For sheet and cloth `size` holds the two edges in mm and `value` is the area of
    all pieces in m2; `pieces` is how many bodies the amount is made of.
    """

    value: Decimal
    unit: str
    size: tuple[Decimal, Decimal] | None = None
    pieces: int = 1


@dataclass(frozen=True, slots=True)
class Validators:
    """What a later visit may send to learn that nothing changed."""

    etag: str | None = None
    last_modified: str | None = None


@dataclass(frozen=True, slots=True)
class RobotsCopy:
    """A host's robots.txt as last fetched.

    `state`: `rules` (text holds them), `allow` (none there), `unreachable` (all
    disallowed for now), `barred` (401 or 403), `throttled` (429).
    """

    state: Literal["rules", "allow", "unreachable", "barred", "throttled"]
    text: str
    fetched_at: datetime


@dataclass(frozen=True, slots=True)
class VisitRequest:
    """One listing to visit: its URL, what we hold of it and of its host's robots.txt."""

    url: str
    validators: Validators = Validators()
    robots: RobotsCopy | None = None
    render: bool = False


@dataclass(frozen=True, slots=True)
class Visited:
    """What a visit brought. With OK there is a `page`; with UNCHANGED the server said 304.

    `retry_after`: seconds the server asked for (clamped, never less than 0).
    `robots`: the copy to keep for the host, new or as given. `crawl_delay`: seconds.
    `moved_to`: where a permanent redirect of the page led.
    """

    url: str
    outcome: Outcome
    finished_at: datetime
    reason: str | None = None
    status: int | None = None
    page: Page | None = None
    validators: Validators = Validators()
    robots: RobotsCopy | None = None
    crawl_delay: float | None = None
    retry_after: float | None = None
    moved_to: str | None = None
    requests: int = 0
    server_date: datetime | None = None  # what the host's clock said, an answer's Age added
