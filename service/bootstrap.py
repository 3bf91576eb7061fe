"""The one place that picks real parts: store, fetcher, channels, clock."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scrapers import Policy, Visited, VisitRequest
from service import __version__
from service.errors import InputError
from service.flows.owner import owner_name
from service.flows.ports import Channel, Deps
from service.flows.prefs import applied
from service.settings import ChannelSettings, Settings, data_dir
from service.store.database import SqlStore, open_store

if TYPE_CHECKING:
    from collections.abc import Awaitable, Sequence
    from datetime import date

    from scrapers import Fetcher

    Resolver = Callable[[str, int], Awaitable[Sequence[str]]]


def utc_now() -> datetime:
    """The clock of the program."""
    return datetime.now(UTC)


def user_agent(contact: str | None) -> str:
    """Honest: name, version, and whom a shop can write to."""
    if contact is None:
        return f"Ebbmark/{__version__}"
    where = contact if contact.startswith("http") else f"mailto:{contact}"
    return f"Ebbmark/{__version__} (+{where})"


class OwnFetcher:
    """The fetcher, made at its first visit: its HTTP client is slow to load."""

    def __init__(self, settings: Settings, policy: Policy, resolver: Resolver | None) -> None:
        self._settings = settings
        self._policy = policy
        self._resolver = resolver
        self._fetcher: Fetcher | None = None
        self.deps: Deps | None = None  # redirects to other hosts need their leases

    async def visit(self, request: VisitRequest) -> Visited:
        """See `scrapers.Fetcher.visit`."""
        return await self._made().visit(request)

    async def aclose(self) -> None:
        """Close what was opened."""
        if self._fetcher is not None:
            await self._fetcher.aclose()

    def _made(self) -> Fetcher:
        if self._fetcher is None:
            from scrapers import Fetcher  # noqa: PLC0415  loads the HTTP client
            from service.flows.door import door  # noqa: PLC0415  the same

            self._fetcher = Fetcher(
                user_agent=user_agent(self._settings.contact),
                policy=self._policy,
                clock=utc_now,
                resolver=self._resolver,
                door=door(self.deps) if self.deps else None,
            )
        return self._fetcher


def log_to_stderr() -> None:
    """Log lines go beside the answers, not between them."""
    import structlog  # noqa: PLC0415  start-up time

    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))


def channels(settings: Settings, policy: Policy) -> Mapping[str, Channel]:
    """The log and every channel that the settings name."""
    from service.channels.log import LogChannel  # noqa: PLC0415  start-up time

    log_to_stderr()
    made: dict[str, Channel] = {"log": LogChannel()}
    for one in settings.channels:
        made[one.name] = _channel(one, policy)
    return made


def _channel(one: ChannelSettings, policy: Policy) -> Channel:
    if one.kind == "webhook":
        from scrapers import guarded_transport  # noqa: PLC0415  loads the HTTP client
        from service.channels.webhook import WebhookChannel  # noqa: PLC0415

        transport = guarded_transport(policy)
        return WebhookChannel(one.name, one.options["url"], transport, one.options.get("secret"))
    if one.kind == "mail":
        from service.channels.mail import MailChannel  # noqa: PLC0415  start-up time

        return MailChannel(one.name, dict(one.options))
    if one.kind == "apprise":
        from service.channels.other import AppriseChannel  # noqa: PLC0415  start-up time

        return AppriseChannel(one.name, one.options["url"])
    from service.channels.log import LogChannel  # noqa: PLC0415  start-up time

    return LogChannel(one.name)


@contextmanager
def opened(
    settings: Settings,
    *,
    resolver: Resolver | None = None,
    loopback: frozenset[str] = frozenset(),
    clock: Callable[[], datetime] = utc_now,
) -> Iterator[Deps]:
    """The book of `settings` with all that flows need; closed on leaving.

    `resolver` and `loopback` are for the demo and for tests: names that lead to
    this machine.
    """
    policy = Policy(
        allow_hosts=settings.allow_hosts | loopback, allowed_only=settings.contact is None
    )
    store = _store(settings)
    fetcher = OwnFetcher(settings, policy, resolver)
    try:
        deps = Deps(
            store=store,
            fetcher=fetcher,
            channels=LazyChannels(settings, policy),
            clock=clock,
            owner=owner_name(),
            currency=settings.currency,
            destination=settings.destination,
            time_zone=settings.time_zone,
            quiet_hours=settings.quiet_hours,
            loopback_hosts=settings.allow_hosts | loopback,
            contact=settings.contact,
            latest_rates=_rates(settings, policy),
            keep_visits_days=settings.keep_visits_days,
            extra=_extra(settings, policy),
        )
        deps = applied(deps)
        fetcher.deps = deps
        yield deps
    finally:
        store.close()


def _store(settings: Settings) -> SqlStore:
    """The database; where it is made anew the published exchange rates are copied in."""
    own = data_dir(os.environ)
    if settings.db.startswith(f"sqlite:///{own}"):
        own.mkdir(parents=True, exist_ok=True)
    store = open_store(settings.db)
    with store.read() as unit:
        empty = unit.rates.last_day() is None
    if empty:
        from service.store.rates import seed_rates  # noqa: PLC0415  once in a book's life

        seed_rates(store)
    return store


def _extra(settings: Settings, policy: Policy) -> dict[str, Any]:
    return {
        "policy": policy,
        "markup": settings.payment.markup,
        "fee": settings.payment.fee,
        "import_rules": _import_rules(settings.import_cost),
        "settings": settings,
        "fixed": settings.fixed,
    }


def _import_rules(name: str | None) -> str:
    """The user's own rules of the border, as text. InputError says what is wrong with them."""
    if name is None:
        return ""
    from service.builds.border import parse_rules  # noqa: PLC0415  start-up time

    try:
        text = Path(name).expanduser().read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"import_cost: {name} cannot be read: {error}") from None
    parse_rules(text)
    return text


def _rates(
    settings: Settings, policy: Policy
) -> Callable[[], Awaitable[list[tuple[date, str, str]]]] | None:
    """Nothing outside is asked while there is no contact to name."""
    if settings.contact is None:
        return None

    async def fetch() -> list[tuple[date, str, str]]:
        from scrapers import guarded_transport  # noqa: PLC0415  loads the HTTP client
        from service.channels.ecb import latest_rates  # noqa: PLC0415

        return await latest_rates(guarded_transport(policy))()

    return fetch


class LazyChannels(Mapping[str, Channel]):
    """Channels by name; their libraries load when one is used."""

    def __init__(self, settings: Settings, policy: Policy) -> None:
        self._settings = settings
        self._policy = policy
        self._made: Mapping[str, Channel] | None = None

    def __getitem__(self, name: str) -> Channel:
        if self._made is None:
            self._made = channels(self._settings, self._policy)
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(["log", *(one.name for one in self._settings.channels)])

    def __len__(self) -> int:
        return 1 + len(self._settings.channels)
