"""What the store keeps of visits, hosts and doubts, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from scrapers import RobotsCopy, Validators
from service.model.prices import Observation

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
