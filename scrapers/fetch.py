"""The only code that asks a shop for a page; one visit of it is `scrapers.visit`."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import httpx

from scrapers.ask import Asker, Client
from scrapers.errors import BrokenError, FetchError
from scrapers.guard import Limits, Policy, Resolver
from scrapers.transport import guarded_transport
from scrapers.visit import HostDoor, Kit, Visit

if TYPE_CHECKING:
    import ssl
    from collections.abc import Callable
    from datetime import datetime

    from scrapers.model import Visited, VisitRequest

_ACCEPT = "text/html,application/xhtml+xml,application/json;q=0.8,*/*;q=0.5"
_TOO_LATE = "no whole answer within the time for a visit"


class Fetcher:
    """Visits one listing at a time, politely and within bounds.

    `user_agent`: the whole text, with a contact. `clock`: aware UTC now. `resolver`,
    `tls`: replace DNS and the trusted certificates (for invented shops). `door`:
    entered before a redirect leads to another host, whose lane belongs to others.
    """

    def __init__(
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
        held = limits or Limits()
        transport = guarded_transport(policy, limits=held, resolver=resolver, tls=tls)
        sent = {"User-Agent": user_agent, "Accept": _ACCEPT, "Accept-Encoding": "gzip"}
        self._client = Client(transport, sent)
        self._kit = Kit(Asker(self._client, held), policy, held, clock, user_agent, door)

    async def visit(self, request: VisitRequest) -> Visited:
        """All requests for one listing: robots.txt if need be, the page, its redirects.

        Never raises for anything that a server does: the outcome says it. A 404 is
        `unreachable` with reason `missing`; that a second one means `gone` is for
        the caller to know.
        """
        visit = Visit(self._kit, request)
        try:
            async with asyncio.timeout_at(visit.deadline):
                return await visit.run()
        except FetchError as error:
            return visit.failed(error)
        except TimeoutError:
            return visit.failed(FetchError(_TOO_LATE))
        except (OSError, ValueError, httpx.HTTPError, httpx.InvalidURL) as error:
            return visit.failed(BrokenError(f"the answer cannot be used ({type(error).__name__})"))

    async def aclose(self) -> None:
        """Let go of the client."""
        await self._client.aclose()


__all__ = ["Fetcher", "HostDoor"]
