"""All that a flow is given: the store, a fetcher, channels, a clock and the user's choices."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Protocol

from scrapers import Visited, VisitRequest
from service.flows.ports.stores import Store
from service.model.deals import Notice
from service.model.quiet import Quiet

Clock = Callable[[], datetime]


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
