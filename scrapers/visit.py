"""One visit while it runs: robots.txt, the page, its redirects, and what they mean."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager, nullcontext
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from scrapers import headers, pace, robots
from scrapers.ask import Answer, Asker
from scrapers.errors import BrokenError, FetchError, GuardError
from scrapers.guard import Limits, Policy, Target, parse_url, redirect_target
from scrapers.lane import Lanes
from scrapers.model import Outcome, Page, RobotsCopy, Validators, Visited, VisitRequest

if TYPE_CHECKING:
    from datetime import datetime

HostDoor = Callable[[str], AbstractAsyncContextManager[None]]
"""Entered before a redirect is followed to another host; raises FetchError where it may not."""

_PAGES = frozenset({200, 203})
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
_OPEN = nullcontext()


@dataclass(frozen=True, slots=True)
class Kit:
    """What every visit of a fetcher shares."""

    asker: Asker
    policy: Policy
    limits: Limits
    clock: Callable[[], datetime]
    user_agent: str
    door: HostDoor | None = None
    lanes: Lanes = field(default_factory=Lanes)
    rendering: asyncio.Lock = field(default_factory=asyncio.Lock)  # a browser takes some 300 MiB
    foreign: dict[str, RobotsCopy] = field(default_factory=dict)  # of hosts that pages led to

    def keep_foreign(self, host: str, copy: RobotsCopy) -> None:
        """Remember another host's robots.txt, of a bounded number of hosts."""
        if len(self.foreign) >= _FOREIGN_COPIES:
            self.foreign.pop(next(iter(self.foreign)))
        self.foreign[host] = copy


class Visit:
    """One visit while it runs, and what it has brought so far."""

    def __init__(self, kit: Kit, request: VisitRequest) -> None:
        self._kit = kit
        self._request = request
        self.deadline = asyncio.get_running_loop().time() + kit.limits.deadline
        self._first: Target | None = None
        self._permanent = True
        self._requests = 0
        self._robots = request.robots
        self._crawl_delay: float | None = None
        self._retry_after: float | None = None
        self._answer: Answer | None = None

    async def run(self) -> Visited:
        """Hop from redirect to redirect. Raises FetchError."""
        target = self._first = parse_url(self._request.url, self._kit.policy)
        seen: set[str] = set()
        while target.url not in seen:
            if len(seen) > self._kit.limits.redirects:
                raise BrokenError("more redirects than are followed")
            seen.add(target.url)
            async with self._kit.lanes.enter(target.lane), self._foreign_door(target.lane):
                answer = await self._ask(target)
            if answer.status not in _REDIRECTS:
                return self._classified(await self._rendered(answer))
            target = self._follow(answer)
        raise BrokenError("the redirects lead in a circle")

    async def _rendered(self, answer: Answer) -> Answer:
        """The page as its scripts leave it, where the listing asks for that."""
        if not self._request.render or answer.status not in _PAGES:
            return answer
        from scrapers.render import render  # noqa: PLC0415  few listings need a browser

        agent, limit = self._kit.user_agent, self._kit.limits.decoded
        async with self._kit.rendering:
            body = await render(answer, self._sub, user_agent=agent, limit=limit)
        said = {**answer.headers, "content-type": "text/html; charset=utf-8"}
        return replace(answer, body=body, headers=said)

    async def _sub(self, url: str) -> Answer:
        """What a page's script asks for: vetted, its host's robots.txt obeyed. FetchError."""
        target = parse_url(url, self._kit.policy)
        for _ in range(self._kit.limits.redirects + 1):
            async with self._kit.lanes.enter(target.lane), self._foreign_door(target.lane):
                copy = await self._robots_of(target)
                if not robots.judge(copy, target.url).allowed:
                    raise _robots_bar(copy)
                self._requests += 1
                answer = await self._kit.asker.page(target, {}, self.deadline)
            if answer.status not in _REDIRECTS:
                return answer
            target = redirect_target(target, _location(answer), self._kit.policy)
        raise BrokenError("more redirects than are followed")

    def failed(self, error: FetchError) -> Visited:
        """The end of a visit that brought no page."""
        if error.retry_after is not None:
            self._retry_after = error.retry_after
        return self._end(Outcome(error.outcome), error.reason)

    def _is_own(self, lane: str) -> bool:
        return self._first is not None and lane == self._first.lane

    def _foreign_door(self, lane: str) -> AbstractAsyncContextManager[None]:
        if self._kit.door is None or self._is_own(lane):
            return _OPEN
        return self._kit.door(lane)

    def _follow(self, answer: Answer) -> Target:
        self._permanent = self._permanent and answer.status in _PERMANENT
        return redirect_target(answer.target, _location(answer), self._kit.policy)

    async def _ask(self, target: Target) -> Answer:
        copy = await self._robots_of(target)
        verdict = robots.judge(copy, target.url)
        if self._is_own(target.lane):
            self._robots, self._crawl_delay = copy, verdict.crawl_delay
        if not verdict.allowed:
            raise _robots_bar(copy)
        self._requests += 1
        answer = await self._kit.asker.page(target, self._conditions(target), self.deadline)
        self._answer = answer
        self._retry_after = self._wait_asked(answer)
        return answer

    def _wait_asked(self, answer: Answer) -> float | None:
        said = answer.headers.get("retry-after")
        return None if said is None else headers.retry_after(said, self._kit.clock())

    def _conditions(self, target: Target) -> dict[str, str]:
        """The conditional headers; nothing is carried to another origin.

        None for a page that script fills: its shell says nothing of its prices.
        """
        held = self._request.validators
        if not (held.etag or held.last_modified) or self._request.render:
            return {}
        if self._first is None or target.origin != self._first.origin:
            return {}
        found = {"If-None-Match": held.etag, "If-Modified-Since": held.last_modified}
        return {name: value for name, value in found.items() if value}

    async def _robots_of(self, target: Target) -> RobotsCopy:
        """The copy that holds for `target`: as given, as kept, or fetched now."""
        now, own = self._kit.clock(), self._is_own(target.lane)
        held = self._robots if own else self._kit.foreign.get(target.lane)
        if held is not None and robots.is_fresh(held, now):
            return held
        try:
            copy = await self._fetch_robots(target, now)
        except FetchError:
            if own:
                self._robots = RobotsCopy("unreachable", "", now)
            raise
        if not own:
            self._kit.keep_foreign(target.lane, copy)
        return copy

    async def _fetch_robots(self, target: Target, now: datetime) -> RobotsCopy:
        """RFC 9309 section 2.3.1.2: five redirects are followed, over authorities too."""
        at = parse_url(robots.robots_url(target.url), self._kit.policy)
        for hop in range(self._kit.limits.redirects + 1):
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
                at = redirect_target(answer.target, _location(answer), self._kit.policy)
            except FetchError as error:
                raise _no_robots(error) from error
        return robots.copy_from_status(404, b"", now)

    async def _ask_robots(self, at: Target, lane: str) -> Answer:
        self._requests += 1
        if at.lane == lane:
            return await self._kit.asker.robots(at, self.deadline)
        lanes = self._kit.lanes
        async with lanes.enter(at.lane, wait=False), self._foreign_door(at.lane):
            return await self._kit.asker.robots(at, self.deadline)

    def _classified(self, answer: Answer) -> Visited:
        """The outcome of the last answer of a visit."""
        status = answer.status
        if status in _PAGES:
            return self._page(answer)
        if status == 304:
            return self._unchanged(answer)
        if status == 503 and _CHECK.search(answer.body):
            return self._end(Outcome.BARRED, "the host checks for robots (status 503)")
        return self._end(*_meaning(status))

    def _page(self, answer: Answer) -> Visited:
        if not answer.body.strip():
            raise BrokenError("the page is empty")
        now = self._kit.clock()
        kind = answer.headers.get("content-type")
        page = Page(answer.target.url, answer.body, kind, now, complete=answer.complete)
        kept = Validators() if self._request.render else _validators(answer, now)
        return self._end(Outcome.OK, page=page, validators=kept)

    def _unchanged(self, answer: Answer) -> Visited:
        if not self._conditions(answer.target):
            raise BrokenError("the host says unchanged (304) though nothing was asked to compare")
        fresh = _validators(answer, self._kit.clock())
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
        now = self._kit.clock()
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
            server_date=headers.server_clock(said, now),
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
