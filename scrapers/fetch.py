"""The only code that asks a shop for a page: guard, robots.txt, conditional GET, redirects."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager, nullcontext
from typing import TYPE_CHECKING

import httpx

from scrapers import headers, pace, robots
from scrapers.ask import Answer, Asker, Client
from scrapers.errors import BrokenError, FetchError, GuardError
from scrapers.guard import Limits, Policy, Resolver, Target, parse_url, redirect_target
from scrapers.model import Outcome, Page, RobotsCopy, Validators, Visited, VisitRequest
from scrapers.transport import guarded_transport

if TYPE_CHECKING:
    import ssl
    from datetime import datetime

HostDoor = Callable[[str], AbstractAsyncContextManager[None]]
"""Entered before a redirect is followed to another host; raises FetchError where it may not."""

_ACCEPT = "text/html,application/xhtml+xml,application/json;q=0.8,*/*;q=0.5"
_REDIRECTS = frozenset({301, 302, 303, 307, 308})
_PERMANENT = frozenset({301, 308})
_BARRED = frozenset({401, 402, 403, 451})
_ETAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]{0,250}"')
_CHECK = re.compile(
    rb"captcha|are you (?:a )?(?:human|robot)|verify (?:that )?you are human"
    rb"|checking your browser|unusual traffic|bot[- ]check",
    re.IGNORECASE,
)
_FOREIGN_COPIES = 256


class Fetcher:
    """Visits one listing at a time, politely and within bounds.

    `user_agent`: the whole text, with a contact. `clock`: aware UTC now. `resolver`,
    `tls`: replace DNS and the trusted certificates (for invented shops). `door`:
    entered before a redirect leads to another host, whose lane belongs to others.
    """

    def __init__(  # noqa: PLR0913  each is a seam that the caller fills
        self,
        *,
        user_agent: str,
        policy: Policy,
        clock: Callable[[], datetime],
        limits: Limits | None = None,
        resolver: Resolver | None = None,
        tls: ssl.SSLContext | None = None,
        door: HostDoor | None = None,
    ) -> None:
        self.policy = policy
        self.limits = limits or Limits()
        self.clock = clock
        self.door = door
        self.lanes = _Lanes()
        self.foreign: dict[str, RobotsCopy] = {}  # robots.txt of hosts that redirects led to
        transport = guarded_transport(policy, limits=self.limits, resolver=resolver, tls=tls)
        sent = {"User-Agent": user_agent, "Accept": _ACCEPT, "Accept-Encoding": "gzip"}
        self._client = Client(transport, sent)
        self.asker = Asker(self._client, self.limits)

    async def visit(self, request: VisitRequest) -> Visited:
        """All requests for one listing: robots.txt if need be, the page, its redirects.

        Never raises for anything that a server does: the outcome says it. A 404 is
        `unreachable` with reason `missing`; that a second one means `gone` is for
        the caller to know.
        """
        visit = _Visit(self, request)
        try:
            async with asyncio.timeout_at(visit.deadline):
                return await visit.run()
        except FetchError as error:
            return visit.failed(error)
        except TimeoutError:
            return visit.failed(FetchError("no whole answer within the time for a visit"))
        except (OSError, ValueError, httpx.HTTPError, httpx.InvalidURL) as error:
            return visit.failed(BrokenError(f"the answer cannot be used ({type(error).__name__})"))

    def keep_foreign(self, host: str, copy: RobotsCopy) -> None:
        """Remember another host's robots.txt, of a bounded number of hosts."""
        if len(self.foreign) >= _FOREIGN_COPIES:
            self.foreign.pop(next(iter(self.foreign)))
        self.foreign[host] = copy

    async def aclose(self) -> None:
        """Let go of the client."""
        await self._client.aclose()


class _Lanes:
    """One request at a time to each host, within this process."""

    def __init__(self) -> None:
        self._locks: dict[str, tuple[asyncio.Lock, int]] = {}

    @asynccontextmanager
    async def enter(self, host: str, *, wait: bool = True) -> AsyncIterator[None]:
        lock, users = self._locks.get(host) or (asyncio.Lock(), 0)
        if users and not wait:
            raise FetchError("another visit to the host that this leads to is under way")
        self._locks[host] = lock, users + 1
        try:
            async with lock:
                yield
        finally:
            users = self._locks[host][1] - 1
            if users:
                self._locks[host] = lock, users
            else:
                del self._locks[host]


class _Visit:
    """One visit while it runs, and what it has brought so far."""

    def __init__(self, fetcher: Fetcher, request: VisitRequest) -> None:
        self._fetcher = fetcher
        self._request = request
        self.deadline = asyncio.get_running_loop().time() + fetcher.limits.deadline
        self._first: Target | None = None
        self._permanent = True
        self._requests = 0
        self._robots = request.robots
        self._crawl_delay: float | None = None
        self._retry_after: float | None = None
        self._answer: Answer | None = None
        self._asked_at = fetcher.clock()

    async def run(self) -> Visited:
        """Hop from redirect to redirect. Raises FetchError."""
        target = self._first = parse_url(self._request.url, self._fetcher.policy)
        seen: set[str] = set()
        while target.url not in seen:
            if len(seen) > self._fetcher.limits.redirects:
                raise BrokenError("more redirects than are followed")
            seen.add(target.url)
            async with self._fetcher.lanes.enter(target.lane), self._foreign_door(target.lane):
                answer = await self._ask(target)
            if answer.status not in _REDIRECTS:
                return self._classified(answer)
            target = self._follow(answer)
        raise BrokenError("the redirects lead in a circle")

    def failed(self, error: FetchError) -> Visited:
        """The end of a visit that brought no page."""
        if error.retry_after is not None:
            self._retry_after = error.retry_after
        return self._end(Outcome(error.outcome), error.reason)

    def _is_own(self, lane: str) -> bool:
        return self._first is not None and lane == self._first.lane

    def _foreign_door(self, lane: str) -> AbstractAsyncContextManager[None]:
        if self._fetcher.door is None or self._is_own(lane):
            return nullcontext()
        return self._fetcher.door(lane)

    def _follow(self, answer: Answer) -> Target:
        self._permanent = self._permanent and answer.status in _PERMANENT
        return redirect_target(answer.target, _location(answer), self._fetcher.policy)

    async def _ask(self, target: Target) -> Answer:
        copy = await self._robots_of(target)
        verdict = robots.judge(copy, target.url)
        if self._is_own(target.lane):
            self._robots, self._crawl_delay = copy, verdict.crawl_delay
        if not verdict.allowed:
            raise _robots_bar(copy)
        self._requests += 1
        self._asked_at = self._fetcher.clock()
        answer = await self._fetcher.asker.page(target, self._conditions(target), self.deadline)
        self._answer = answer
        self._retry_after = self._wait_asked(answer)
        return answer

    def _wait_asked(self, answer: Answer) -> float | None:
        return headers.retry_after(answer.headers.get("retry-after"), self._fetcher.clock())

    def _conditions(self, target: Target) -> dict[str, str]:
        """The conditional headers; nothing is carried to another origin."""
        if self._first is None or target.origin != self._first.origin:
            return {}
        held = self._request.validators
        found = {"If-None-Match": held.etag, "If-Modified-Since": held.last_modified}
        return {name: value for name, value in found.items() if value}

    async def _robots_of(self, target: Target) -> RobotsCopy:
        """The copy that holds for `target`: as given, as kept, or fetched now."""
        now, own = self._fetcher.clock(), self._is_own(target.lane)
        held = self._robots if own else self._fetcher.foreign.get(target.lane)
        if held is not None and robots.is_fresh(held, now):
            return held
        try:
            copy = await self._fetch_robots(target, now)
        except FetchError:
            if own:
                self._robots = RobotsCopy("unreachable", "", now)
            raise
        if not own:
            self._fetcher.keep_foreign(target.lane, copy)
        return copy

    async def _fetch_robots(self, target: Target, now: datetime) -> RobotsCopy:
        """RFC 9309 section 2.3.1.2: five redirects are followed, over authorities too."""
        at = parse_url(robots.robots_url(target.url), self._fetcher.policy)
        for hop in range(self._fetcher.limits.redirects + 1):
            try:
                answer = await self._ask_robots(at, target.lane)
            except FetchError as error:
                if error.outcome == Outcome.UNREACHABLE or (
                    hop == 0 and isinstance(error, GuardError)
                ):
                    raise  # says something of the host itself
                raise _no_robots(error) from error
            if answer.status not in _REDIRECTS:
                self._retry_after = self._wait_asked(answer)
                return robots.copy_from_status(answer.status, answer.body, now)
            try:
                at = redirect_target(answer.target, _location(answer), self._fetcher.policy)
            except FetchError as error:
                raise _no_robots(error) from error
        return robots.copy_from_status(404, b"", now)

    async def _ask_robots(self, at: Target, lane: str) -> Answer:
        self._requests += 1
        if at.lane == lane:
            return await self._fetcher.asker.robots(at, self.deadline)
        lanes = self._fetcher.lanes
        async with lanes.enter(at.lane, wait=False), self._foreign_door(at.lane):
            return await self._fetcher.asker.robots(at, self.deadline)

    def _classified(self, answer: Answer) -> Visited:
        """The outcome of the last answer of a visit."""
        status = answer.status
        if status in {200, 203}:
            return self._page(answer)
        if status == 304:
            return self._unchanged(answer)
        if status == 503 and _CHECK.search(answer.body):
            return self._end(Outcome.BARRED, "the host checks for robots (status 503)")
        return self._end(*_meaning(status))

    def _page(self, answer: Answer) -> Visited:
        if not answer.body.strip():
            raise BrokenError("the page is empty")
        now = self._fetcher.clock()
        kind = answer.headers.get("content-type")
        page = Page(answer.target.url, answer.body, kind, now, complete=answer.complete)
        return self._end(Outcome.OK, page=page, validators=_validators(answer, now))

    def _unchanged(self, answer: Answer) -> Visited:
        if not self._conditions(answer.target):
            raise BrokenError("the host says unchanged (304) though nothing was asked to compare")
        fresh = _validators(answer, self._fetcher.clock())
        held = self._request.validators
        kept = Validators(fresh.etag or held.etag, fresh.last_modified or held.last_modified)
        return self._end(Outcome.UNCHANGED, validators=kept)

    def _end(
        self,
        outcome: Outcome,
        reason: str | None = None,
        *,
        page: Page | None = None,
        validators: Validators | None = None,
    ) -> Visited:
        now = self._fetcher.clock()
        answer = self._answer
        said = answer.headers if answer else {}
        moved = answer is not None and self._permanent and answer.target != self._first
        return Visited(
            self._request.url,
            outcome,
            now,
            reason,
            status=answer.status if answer else None,
            page=page,
            validators=self._request.validators if validators is None else validators,
            robots=self._robots,
            crawl_delay=self._crawl_delay,
            retry_after=self._retry_after,
            moved_to=answer.target.url if answer and moved and reason is None else None,
            requests=self._requests,
            server_date=headers.http_date(said.get("date", ""), now),
            fresh_for=headers.fresh_for(said, self._asked_at, now),
        )


def _location(answer: Answer) -> bytes:
    """The redirect's address as it came. Raises BrokenError where there is none."""
    if len(answer.location) != 1 or not answer.location[0].strip():
        raise BrokenError("a redirect that does not say where to")
    return answer.location[0]


def _no_robots(error: FetchError) -> FetchError:
    return FetchError(f"robots.txt cannot be had: {error.reason}", outcome=Outcome.BARRED)


def _meaning(status: int) -> tuple[Outcome, str]:
    """Outcome and reason of an answer that brought no page."""
    if status in _BARRED:
        return Outcome.BARRED, f"the host refuses us (status {status})"
    if status in {429, 503}:
        return Outcome.THROTTLED, f"the host asks us to slow down (status {status})"
    if status == 404:
        return Outcome.UNREACHABLE, pace.MISSING
    if status == 410:
        return Outcome.GONE, "the page is gone (status 410)"
    if status >= 400:
        return Outcome.UNREACHABLE, f"the host answers with an error (status {status})"
    return Outcome.BROKEN, f"an answer without a page (status {status})"


def _robots_bar(copy: RobotsCopy) -> FetchError:
    """Why a copy of robots.txt bars a URL, as the error that ends the visit."""
    if copy.state == "throttled":
        reason = "the host asks us to slow down (robots.txt: status 429)"
        return FetchError(reason, outcome=Outcome.THROTTLED)
    reason = {
        "rules": pace.ROBOTS_BAR,
        "barred": "robots.txt is closed to us (status 401 or 403)",
        "unreachable": "robots.txt cannot be had (server error): all is barred until it can",
    }[copy.state]
    return FetchError(reason, outcome=Outcome.BARRED)


def _validators(answer: Answer, now: datetime) -> Validators:
    """What may be sent back next time; nothing that is malformed or overlong."""
    etag = answer.headers.get("etag", "")
    modified = answer.headers.get("last-modified", "")
    return Validators(
        etag if _ETAG.fullmatch(etag) else None,
        modified if headers.http_date(modified, now) else None,
    )
