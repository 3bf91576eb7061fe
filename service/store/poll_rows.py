"""What the poller remembers as rows of `poll`, `page` and `host`, and back.

The statements stand beside the tuples that they take and give, whose columns are in the
same order.
"""

from __future__ import annotations

import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from scrapers import RobotsCopy, Validators
from service.flows.ports import HostState, Lease, ListingState
from service.store.codec import dumps, loads_once
from service.store.types import instant, to_day, to_micros

if TYPE_CHECKING:
    from datetime import datetime

SAVE_POLL: Final = """UPDATE poll SET next_due_at = ?, failures = ?, missing = ?,
    last_visit_at = ?, last_outcome = ?, last_reason = ? WHERE listing = ?"""
SAVE_HOST: Final = """UPDATE host SET next_allowed_at = ?, failures = ?, robots = ?,
    visits_today = ?, day = ?, parked_reason = ?
    WHERE host = ? AND token = ? AND owner IS NOT NULL"""
_PAGE: Final = (
    "etag",
    "last_modified",
    "digest",
    "verdict",
    "verdict_reason",
    "last_full_at",
    "evidence",
    "identity",
)
SAVE_PAGE: Final = (
    f"INSERT INTO page (listing, {', '.join(_PAGE)}) VALUES ({', '.join('?' * 9)}) "
    f"ON CONFLICT (listing) DO UPDATE SET {', '.join(f'{n} = excluded.{n}' for n in _PAGE)} "
    "WHERE " + " OR ".join(f"page.{n} IS DISTINCT FROM excluded.{n}" for n in _PAGE)
)
# Read in text: what the columns' types would do for each value is half the work.
STATES: Final = """SELECT p.listing, p.next_due_at, p.failures, p.missing, p.last_visit_at,
        p.last_outcome, p.last_reason, g.etag, g.last_modified, g.digest, g.verdict,
        g.verdict_reason, g.last_full_at, g.identity, {evidence}
    FROM poll p LEFT JOIN page g ON g.listing = p.listing WHERE p.listing {one}"""

_json: Final = json.JSONEncoder(ensure_ascii=False, default=str).encode


class _Stored(tuple[dict[str, Any], ...]):  # noqa: SLOT001 -- a tuple can have no slots
    """Evidence as loaded, with what else was known of the page then.

    A state that is saved with the same page again leaves its row alone.
    """

    page: tuple[Any, ...]


def host_row(lease: Lease, state: HostState) -> tuple[Any, ...]:
    """For `SAVE_HOST`."""
    return (
        _micros(state.next_allowed_at),
        state.failures,
        None if state.robots is None else _robots_text(state.robots),
        state.visits_today,
        None if state.day is None else to_day(state.day),
        state.parked_reason,
        lease.host,
        lease.token,
    )


def host_of(row: Any) -> HostState:
    """Of a row of `host`."""
    robots = None if row.robots is None else loads_once(RobotsCopy, row.robots)
    return HostState(
        row.host,
        row.next_allowed_at,
        row.failures,
        robots,
        row.visits_today,
        row.day,
        row.parked_reason,
    )


def state_of(  # noqa: PLR0913, PLR0917 -- the columns of `STATES`, in their order
    listing: int,
    next_due_at: int,
    failures: int,
    missing: int,
    last_visit_at: int | None,
    last_outcome: str | None,
    last_reason: str | None,
    etag: str | None,
    last_modified: str | None,
    digest: str | None,
    verdict: str | None,
    verdict_reason: str | None,
    last_full_at: int | None,
    identity: str | None,
    shown: str | None,
) -> ListingState:
    """Of a row of `STATES`; the evidence remembers what the page was loaded as."""
    evidence = _Stored(json.loads(shown) if shown else ())
    state = ListingState(
        listing,
        instant(next_due_at),
        Validators(etag, last_modified),
        digest,
        verdict,
        verdict_reason,
        failures,
        missing,
        None if last_visit_at is None else instant(last_visit_at),
        last_outcome,
        last_reason,
        None if last_full_at is None else instant(last_full_at),
        evidence,
        json.loads(identity) if identity else {},
    )
    evidence.page = _page(state)
    return state


def _page(state: ListingState) -> tuple[Any, ...]:
    """What is known of the page beside its evidence."""
    return (
        state.listing,
        state.validators,
        state.digest,
        state.verdict,
        state.verdict_reason,
        state.last_full_at,
        state.identity,
    )


def same_page(state: ListingState) -> bool:
    """Whether what is known of the page is still what was loaded."""
    evidence = state.evidence
    return isinstance(evidence, _Stored) and evidence.page == _page(state)


def _micros(at: datetime | None) -> int | None:
    return None if at is None else to_micros(at)


def poll_row(state: ListingState) -> tuple[Any, ...]:
    """For `SAVE_POLL`."""
    return (
        to_micros(state.next_due_at),
        state.failures,
        state.missing,
        _micros(state.last_visit_at),
        state.last_outcome,
        state.last_reason,
        state.listing,
    )


def page_row(state: ListingState) -> tuple[Any, ...]:
    """For `SAVE_PAGE`."""
    return (
        state.listing,
        state.validators.etag,
        state.validators.last_modified,
        state.digest,
        state.verdict,
        state.verdict_reason,
        _micros(state.last_full_at),
        _json(list(state.evidence)),
        _json(dict(state.identity)),
    )


@lru_cache(maxsize=64)  # a host's copy is the same for a day
def _robots_text(copy: RobotsCopy) -> str:
    return dumps(copy)
