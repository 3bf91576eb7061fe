"""Pages and sites: fetch politely, read reliably. The one door of the package.

Heavy parts (HTTP client, HTML parser) load on first use, so that a command
that needs neither starts quickly.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from scrapers.errors import (
    BrokenError,
    FetchError,
    GuardError,
    RuleError,
    ScrapeError,
    TooLargeError,
)
from scrapers.model import (
    Amount,
    Availability,
    Choice,
    Evidence,
    Ids,
    Multibuy,
    Outcome,
    Page,
    PriceText,
    Reading,
    RobotsCopy,
    SiteRules,
    Source,
    Tax,
    UnitPrice,
    Validators,
    Visited,
    VisitRequest,
)

if TYPE_CHECKING:
    from scrapers.fetch import Fetcher, HostDoor
    from scrapers.guard import Limits, Policy, Resolver, check_url, host_key
    from scrapers.pace import (
        ELSEWHERE,
        Backoff,
        clock_ahead,
        clock_offset,
        feasible_every,
        is_host_failure,
        network_suspect,
        next_allowed,
        spread,
    )
    from scrapers.read import read_at_once, read_page
    from scrapers.read_json import reading_to_json
    from scrapers.readers.rule import check_rules
    from scrapers.texts import (
        Dimension,
        UnitError,
        convert,
        dimension,
        format_amount,
        is_currency,
        minor_units,
        parse_amount,
        read_amount,
        read_availability,
        read_price,
        read_sold_as,
        read_spec,
        to_base,
    )
    from scrapers.transport import guarded_transport

_HOMES = {
    "Fetcher": "scrapers.fetch",
    "HostDoor": "scrapers.fetch",
    "Limits": "scrapers.guard",
    "Policy": "scrapers.guard",
    "Resolver": "scrapers.guard",
    "check_url": "scrapers.guard",
    "host_key": "scrapers.guard",
    "Backoff": "scrapers.pace",
    "ELSEWHERE": "scrapers.pace",
    "clock_ahead": "scrapers.pace",
    "clock_offset": "scrapers.pace",
    "feasible_every": "scrapers.pace",
    "is_host_failure": "scrapers.pace",
    "network_suspect": "scrapers.pace",
    "next_allowed": "scrapers.pace",
    "spread": "scrapers.pace",
    "read_at_once": "scrapers.read",
    "read_page": "scrapers.read",
    "reading_to_json": "scrapers.read_json",
    "check_rules": "scrapers.readers.rule",
    "Dimension": "scrapers.texts",
    "UnitError": "scrapers.texts",
    "convert": "scrapers.texts",
    "dimension": "scrapers.texts",
    "format_amount": "scrapers.texts",
    "is_currency": "scrapers.texts",
    "minor_units": "scrapers.texts",
    "parse_amount": "scrapers.texts",
    "read_amount": "scrapers.texts",
    "read_availability": "scrapers.texts",
    "read_price": "scrapers.texts",
    "read_sold_as": "scrapers.texts",
    "read_spec": "scrapers.texts",
    "to_base": "scrapers.texts",
    "guarded_transport": "scrapers.transport",
}

__all__ = [
    "ELSEWHERE",
    "Amount",
    "Availability",
    "Backoff",
    "BrokenError",
    "Choice",
    "Dimension",
    "Evidence",
    "FetchError",
    "Fetcher",
    "GuardError",
    "HostDoor",
    "Ids",
    "Limits",
    "Multibuy",
    "Outcome",
    "Page",
    "Policy",
    "PriceText",
    "Reading",
    "Resolver",
    "RobotsCopy",
    "RuleError",
    "ScrapeError",
    "SiteRules",
    "Source",
    "Tax",
    "TooLargeError",
    "UnitError",
    "UnitPrice",
    "Validators",
    "VisitRequest",
    "Visited",
    "check_rules",
    "check_url",
    "clock_ahead",
    "clock_offset",
    "convert",
    "dimension",
    "feasible_every",
    "format_amount",
    "guarded_transport",
    "host_key",
    "is_currency",
    "is_host_failure",
    "minor_units",
    "network_suspect",
    "next_allowed",
    "parse_amount",
    "read_amount",
    "read_at_once",
    "read_availability",
    "read_page",
    "read_price",
    "read_sold_as",
    "read_spec",
    "reading_to_json",
    "spread",
    "to_base",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'scrapers' has no attribute {name!r}")
    value = getattr(import_module(home), name)
    globals()[name] = value
    return value
