"""What the flows need from outside: a store, a fetcher, channels and a clock."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, Protocol

from scrapers import RobotsCopy, Validators, Visited, VisitRequest
from service.model.book import Book
from service.model.builds import Build
from service.model.catalogue import Listing, Part, Supplier
from service.model.deals import Deal, Notice, Target
from service.model.money import Rates
from service.model.orders import Movement, Offcut, Order, OrderBill, Purchase
from service.model.prices import Observation, PriceNow, Spell
from service.model.quiet import Quiet

Clock = Callable[[], datetime]
CLOCKS = "clock."  # settings: before a host's name, the seconds that its clock is ahead of ours


@dataclass(frozen=True, slots=True)
class ListingState:
    """What the poller remembers of a listing between visits.

    `digest`: SHA-256 hex of the last whole body; `verdict`: the outcome that
    body was read to; `missing`: consecutive 404s; `last_full_at`: when the
    page was last fetched without validators.
    """

    listing: int
    next_due_at: datetime
    validators: Validators = field(default_factory=Validators)
    digest: str | None = None
    verdict: str | None = None
    verdict_reason: str | None = None
    failures: int = 0
    missing: int = 0
    last_visit_at: datetime | None = None
    last_outcome: str | None = None
    last_reason: str | None = None
    last_full_at: datetime | None = None
    evidence: tuple[dict[str, Any], ...] = ()  # of the last accepted reading
    identity: Mapping[str, str] = field(default_factory=dict)  # title, gtin, mpn, sku, brand then


@dataclass(frozen=True, slots=True)
class HostState:
    """A host row: its lease, its pace and its robots.txt."""

    host: str
    next_allowed_at: datetime | None = None
    failures: int = 0
    robots: RobotsCopy | None = None
    visits_today: int = 0
    day: date | None = None
    parked_reason: str | None = None


@dataclass(frozen=True, slots=True)
class Lease:
    """The right to visit a host until `until`; `token` grows with every claim."""

    host: str
    owner: str
    token: int
    until: datetime
    state: HostState


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading kept aside: what was read, why it is not believed, how often it was seen.

    `reading` is the JSON object of `ebbmark read`. `at`: when it was last seen; `since`: when
    first in a row (None: only at `at`).
    """

    listing: int
    at: datetime
    reason: str
    reading: Mapping[str, Any]
    seen: int = 1
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class VisitRow:
    """The outcome of one visit, kept for as long as the settings say."""

    listing: int
    at: datetime
    outcome: str
    reason: str | None = None
    status: int | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch inside a spell in which nobody looked."""

    listing: int
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Refused:
    """A reading that contradicts what was seen at its time, with the reason in words."""

    observation: Observation
    reason: str


@dataclass(frozen=True, slots=True)
class Placed:
    """What came of old readings: new ones, ones that repeat what was known, refused ones."""

    new: int = 0
    known: int = 0
    refused: tuple[Refused, ...] = ()


class CatalogueStore(Protocol):
    """Suppliers, parts, listings, builds, targets: what the user edits."""

    def suppliers(self) -> dict[str, Supplier]: ...
    def parts(self) -> dict[str, Part]: ...
    def listings(self, ids: Collection[int] | None = None) -> list[Listing]: ...
    def listing(self, key: str) -> Listing | None: ...
    def listings_of(self, part: str) -> list[Listing]: ...
    def pages_of(self, supplier: str) -> list[int]: ...
    def builds(self) -> dict[str, Build]: ...
    def build(self, key: str) -> Build | None: ...
    def builds_using(self, listings: Collection[int]) -> list[Build]: ...
    def targets(self) -> list[Target]: ...
    def book(self) -> Book: ...
    def save(self, book: Book, *, now: datetime) -> int:
        """Upsert everything in `book`; answers how many rows changed (0: nothing new)."""
        ...

    def remove_listing(self, key: str) -> bool: ...
    def remove_target(self, key: str) -> bool: ...
    def move_listing(self, key: str, url: str, *, now: datetime) -> Listing:
        """The page has a new address: same number, same history, new key."""
        ...

    def split_listing(self, key: str, at: datetime, new: Listing, *, now: datetime) -> Listing:
        """The page sells something else since `at`: `new` takes over key, address and later prices.

        The old listing keeps its number and earlier history under `KEY@DATE`, by hand.
        """
        ...


class PriceLog(Protocol):
    """Spells: the only long memory of prices."""

    def record(self, observations: Sequence[Observation]) -> None:
        """Extend or open spells. In time order per listing; never overlapping."""
        ...

    def insert_past(self, observations: Sequence[Observation]) -> int:
        """Imported readings take their place in time; answers how many were new."""
        ...

    def place_past(self, observations: Sequence[Observation]) -> Placed:
        """The same, and which were refused and why."""
        ...

    def spells(self, listings: Collection[int], since: datetime | None = None) -> list[Spell]: ...
    def gaps(self, listings: Collection[int], since: datetime | None = None) -> list[Gap]: ...
    def as_of(
        self, at: datetime, listings: Collection[int] | None = None
    ) -> dict[int, PriceNow]: ...
    def doubts(self, listings: Collection[int] | None = None) -> list[Doubt]: ...
    def keep_doubt(self, doubt: Doubt) -> None: ...
    def clear_doubt(self, listing: int) -> None: ...


class PollStore(Protocol):
    """Whose turn it is, and the leases on hosts."""

    def due(self, now: datetime, limit: int = 10_000) -> dict[str, list[int]]:
        """Listing ids that are due, by host, longest due first."""
        ...

    def next_due(self) -> datetime | None:
        """When the next listing is due; None where none is polled."""
        ...

    def hosts_of(self, listings: Collection[int]) -> dict[str, list[int]]: ...
    def states(
        self, listings: Collection[int], *, evidence: bool = True
    ) -> dict[int, ListingState]:
        """By listing. Without `evidence` they cost less, and may not be saved again."""
        ...

    def tiers(self, at: datetime) -> dict[int, str]:
        """By listing the prices for several on its page, as it was last read up to `at`."""
        ...

    def save_states(self, states: Iterable[ListingState]) -> None: ...
    def host(self, host: str) -> HostState | None: ...
    def claim(self, host: str, owner: str, now: datetime, hold: timedelta) -> Lease | None:
        """None: another owner holds it. A lease that ran out is free."""
        ...

    def holder(self, host: str) -> str | None:
        """The owner of the lease that now stands on a host, run out or not."""
        ...

    def free(self, host: str, owner: str, next_allowed_at: datetime) -> bool:
        """Take the lease from an owner that is known to be dead; its pace is kept."""
        ...

    def renew(self, lease: Lease, until: datetime) -> Lease | None: ...
    def save_host(self, lease: Lease, state: HostState) -> bool:
        """Only while the lease's token is the newest; False: it was lost."""
        ...

    def save_hosts(self, hosts: Sequence[tuple[Lease, HostState]]) -> int:
        """The same for many; answers how many were still held."""
        ...

    def release(self, lease: Lease) -> None: ...
    def add_visits(self, rows: Sequence[VisitRow]) -> None: ...
    def visits(self, listing: int | None = None, limit: int = 100) -> list[VisitRow]: ...
    def prune_visits(self, before: datetime) -> int: ...


class DealStore(Protocol):
    """Deals by episode."""

    def open_deals(self) -> list[Deal]: ...
    def deals(self, limit: int = 200) -> list[Deal]: ...
    def put(self, deal: Deal) -> None:
        """Insert, or change the one of the same key."""
        ...

    def met_since(self, target: str) -> datetime | None: ...
    def set_met(self, target: str, since: datetime | None) -> None: ...


class Outbox(Protocol):
    """Notices waiting for their channel. A key is taken once."""

    def add(self, notice: Notice, not_before: datetime) -> bool: ...
    def claim(
        self, owner: str, now: datetime, hold: timedelta, limit: int = 50
    ) -> list[Notice]: ...
    def mark_sent(self, key: str, at: datetime) -> None: ...
    def mark_failed(self, key: str, reason: str, next_try: datetime | None) -> None:
        """`next_try` None: given up, shown as undelivered."""
        ...

    def rows(self, limit: int = 200) -> list[dict[str, Any]]: ...


class RateStore(Protocol):
    """ECB reference rates by day."""

    def rates(self, day: date) -> Rates:
        """Per currency the last known rate on or before `day`."""
        ...

    def add(self, rows: Iterable[tuple[date, str, str]]) -> int:
        """`(day, currency, rate as decimal text)`; known ones stay; answers how many were new."""
        ...

    def last_day(self) -> date | None: ...


class PurchaseStore(Protocol):
    """Purchases as booked."""

    def add(self, purchase: Purchase) -> int: ...
    def all(self, *, cancelled: bool = False) -> list[Purchase]:
        """`cancelled`: also the lines of orders that were cancelled whole."""
        ...


class OrderStore(Protocol):
    """Orders with the states of their lines; a line is a purchase of `PurchaseStore`."""

    def all(self) -> list[Order]: ...
    def get(self, key: str) -> Order | None: ...
    def save(self, order: Order, purchases: Sequence[Purchase]) -> None: ...
    def bills(self) -> list[OrderBill]: ...
    def add_bill(self, bill: OrderBill) -> int: ...


class WorkshopStore(Protocol):
    """What parts did after they came; nothing booked is ever changed."""

    def movements(self) -> list[Movement]: ...
    def add(self, movement: Movement) -> int: ...
    def offcuts(self) -> list[Offcut]: ...
    def set_offcuts(self, part: str, offcuts: Sequence[Offcut]) -> None:
        """These are all the offcuts of the part."""
        ...


class Unit(Protocol):
    """One transaction over everything that is kept."""

    catalogue: CatalogueStore
    log: PriceLog
    polls: PollStore
    deals: DealStore
    outbox: Outbox
    rates: RateStore
    purchases: PurchaseStore
    orders: OrderStore
    workshop: WorkshopStore

    def setting(self, name: str) -> str | None: ...
    def settings(self, prefix: str) -> dict[str, str]: ...
    def set_setting(self, name: str, value: str) -> None: ...


class Store(Protocol):
    """Opens transactions. `write` commits on leaving without an error."""

    def read(self) -> AbstractContextManager[Unit]: ...
    def write(self) -> AbstractContextManager[Unit]: ...


class PageFetcher(Protocol):
    """Asks a shop for a page; a failure is a value, not an exception."""

    async def visit(self, request: VisitRequest) -> Visited: ...
    async def aclose(self) -> None: ...


class Channel(Protocol):
    """Takes a notice to a person. Raises DeliveryError."""

    name: str

    async def send(self, notice: Notice) -> None: ...


@dataclass(frozen=True, slots=True)
class Deps:
    """Everything that a flow needs, chosen in `bootstrap`."""

    store: Store
    fetcher: PageFetcher
    channels: Mapping[str, Channel]
    clock: Clock
    owner: str
    currency: str = "EUR"
    destination: str | None = None
    time_zone: str = "UTC"
    quiet_hours: Quiet | None = None
    loopback_hosts: frozenset[str] = frozenset()
    contact: str | None = None
    latest_rates: Callable[[], Awaitable[list[tuple[date, str, str]]]] | None = None
    keep_visits_days: int = 90
    extra: Mapping[str, Any] = field(default_factory=dict)


__all__ = [
    "CatalogueStore",
    "Channel",
    "Clock",
    "DealStore",
    "Deps",
    "Doubt",
    "Gap",
    "HostState",
    "Lease",
    "ListingState",
    "OrderStore",
    "Outbox",
    "PageFetcher",
    "Placed",
    "PollStore",
    "PriceLog",
    "PurchaseStore",
    "RateStore",
    "Refused",
    "Store",
    "Unit",
    "VisitRow",
    "WorkshopStore",
]
