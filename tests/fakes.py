"""Written fakes, one per port: a clock that stands, a fetcher that serves from a dict."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from scrapers import Outcome, Page, Validators, Visited, VisitRequest
from service.errors import DeliveryError
from service.model.deals import Notice

NOON = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)


@dataclass
class FixedClock:
    """Answers the same time until it is moved."""

    now: datetime = NOON

    def __call__(self) -> datetime:
        return self.now

    def pass_(self, **span: float) -> datetime:
        self.now += timedelta(**span)
        return self.now


@dataclass
class FakeFetcher:
    """Answers each URL from `pages` (bytes) or `fails` (outcome, reason); keeps the requests."""

    clock: FixedClock
    pages: dict[str, bytes] = field(default_factory=dict)
    fails: dict[str, tuple[Outcome, str]] = field(default_factory=dict)
    asked: list[VisitRequest] = field(default_factory=list)
    etags: bool = False

    async def visit(self, request: VisitRequest) -> Visited:
        self.asked.append(request)
        url, now = request.url, self.clock()
        if url in self.fails:
            outcome, reason = self.fails[url]
            return Visited(url, outcome, now, reason=reason, requests=1)
        body = self.pages[url]
        etag = f'"{hash(body)}"' if self.etags else None
        if etag and request.validators.etag == etag:
            return Visited(url, Outcome.UNCHANGED, now, status=304, requests=1)
        page = Page(url, body, "text/html; charset=utf-8", now)
        return Visited(
            url, Outcome.OK, now, status=200, page=page, validators=Validators(etag), requests=1
        )

    async def aclose(self) -> None:
        """Nothing is open."""


@dataclass
class RecordingChannel:
    """Keeps what it was sent; fails while `failing` says so."""

    name: str = "log"
    sent: list[Notice] = field(default_factory=list)
    failing: bool = False
    final: bool = False

    async def send(self, notice: Notice) -> None:
        if self.failing:
            raise DeliveryError("down", retry=not self.final)
        self.sent.append(notice)
