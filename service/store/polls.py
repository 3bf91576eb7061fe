"""Whose turn it is, what the poller remembers, and the leases on hosts."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, and_, delete, func, or_, select, text, update

from service.flows.ports import HostState, Lease, ListingState, VisitRow
from service.store import tables
from service.store.bulk import among, insert_into, insert_many, one_of, run_many
from service.store.poll_rows import (
    SAVE_HOST,
    SAVE_PAGE,
    SAVE_POLL,
    STATES,
    host_of,
    host_row,
    page_row,
    poll_row,
    same_page,
    state_of,
)
from service.store.types import to_micros

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from datetime import datetime, timedelta


class Polls:
    """PollStore on one connection."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def due(self, now: datetime, limit: int = 10_000) -> dict[str, list[int]]:
        """Listing ids that are due, by host, longest due first."""
        poll, listing = tables.poll, tables.listing
        query = (
            select(listing.c.host, listing.c.id)
            .join(poll, poll.c.listing == listing.c.id)
            .where(poll.c.next_due_at <= now, listing.c.removed_at.is_(None))
            .where(listing.c.host.is_not(None))
            .order_by(poll.c.next_due_at, listing.c.id)
            .limit(limit)
        )
        return _by_host(self._conn.execute(query))

    def next_due(self) -> datetime | None:
        """When the next listing is due; None where none is polled."""
        poll, listing = tables.poll, tables.listing
        query = select(func.min(poll.c.next_due_at)).join(listing, listing.c.id == poll.c.listing)
        found: datetime | None = self._conn.scalar(query.where(listing.c.removed_at.is_(None)))
        return found

    def hosts_of(self, listings: Collection[int]) -> dict[str, list[int]]:
        """The listings that have a page, by host; removed ones and those by hand are left out."""
        table = tables.listing
        query = select(table.c.host, table.c.id).where(
            among(self._conn, table.c.id, listings),
            table.c.host.is_not(None),
            table.c.removed_at.is_(None),
        )
        return _by_host(self._conn.execute(query.order_by(table.c.id)))

    def states(
        self, listings: Collection[int], *, evidence: bool = True
    ) -> dict[int, ListingState]:
        """By listing; one by hand has none. Without `evidence` only to be looked at."""
        one, bound = one_of(self._conn, listings)
        query = STATES.format(evidence="g.evidence" if evidence else "NULL", one=one)
        rows = self._conn.execute(text(query), {"listings": bound}).all()
        return {row[0]: state_of(*row) for row in rows}

    def tiers(self, at: datetime) -> dict[int, str]:
        """By listing the prices for several on its page, as it was last read up to `at`."""
        page = tables.page
        query = select(page.c.listing, page.c.identity).where(
            page.c.verdict == "ok",
            page.c.last_full_at <= at,
            page.c.identity.contains('"multibuy":'),
        )
        return {row[0]: json.loads(row[1])["multibuy"] for row in self._conn.execute(query)}

    def save_states(self, states: Iterable[ListingState]) -> None:
        """Due times always; what is known of the page only where it differs."""
        held = list(states)
        saved = run_many(self._conn, SAVE_POLL, [poll_row(state) for state in held])
        if saved < len(held):
            self._add_missing(held)
        pages = [page_row(state) for state in held if not same_page(state)]
        run_many(self._conn, SAVE_PAGE, pages)

    def _add_missing(self, states: Sequence[ListingState]) -> None:
        table = tables.poll
        query = select(table.c.listing).where(
            among(self._conn, table.c.listing, [state.listing for state in states])
        )
        known = set(self._conn.scalars(query))
        columns = ("next_due_at", "failures", "missing", "last_visit_at")
        rows = [poll_row(state) for state in states if state.listing not in known]
        insert_many(self._conn, table, (*columns, "last_outcome", "last_reason", "listing"), rows)

    def host(self, host: str) -> HostState | None:
        """Its pace and robots.txt; None where it was never visited."""
        row = self._conn.execute(select(tables.host).where(tables.host.c.host == host)).first()
        return None if row is None else host_of(row)

    def claim(self, host: str, owner: str, now: datetime, hold: timedelta) -> Lease | None:
        """The lease on a host, or None while one stands, whoever holds it."""
        table, until = tables.host, now + hold
        fresh = insert_into(self._conn, table).values(
            host=host, owner=owner, until=until, token=1, failures=0, visits_today=0
        )
        free = or_(table.c.until.is_(None), table.c.until <= now)
        query = fresh.on_conflict_do_update(
            index_elements=["host"],
            set_={"owner": owner, "until": until, "token": table.c.token + 1},
            where=free,
        ).returning(table)
        row = self._conn.execute(query).first()
        return None if row is None else Lease(host, owner, row.token, until, host_of(row))

    def holder(self, host: str) -> str | None:
        """The owner of the lease that now stands on a host, run out or not."""
        return self._conn.scalar(select(tables.host.c.owner).where(tables.host.c.host == host))

    def free(self, host: str, owner: str, next_allowed_at: datetime) -> bool:
        """Take the lease from a dead owner; the host rests at least until `next_allowed_at`."""
        table = tables.host
        later = or_(table.c.next_allowed_at.is_(None), table.c.next_allowed_at < next_allowed_at)
        at_owner = and_(table.c.host == host, table.c.owner == owner)
        self._conn.execute(
            update(table).where(at_owner, later).values(next_allowed_at=next_allowed_at)
        )
        query = update(table).where(at_owner).values(owner=None, until=None)
        return self._conn.execute(query).rowcount > 0

    def renew(self, lease: Lease, until: datetime) -> Lease | None:
        """The same lease for longer; None: another has it."""
        query = update(tables.host).where(_holds(lease)).values(until=until)
        if self._conn.execute(query).rowcount == 0:
            return None
        return Lease(lease.host, lease.owner, lease.token, until, lease.state)

    def save_host(self, lease: Lease, state: HostState) -> bool:
        """Only while the lease stands; False: it was lost, or given back with a later state."""
        return self.save_hosts([(lease, state)]) > 0

    def save_hosts(self, hosts: Sequence[tuple[Lease, HostState]]) -> int:
        """The same for many; answers how many were still held."""
        return run_many(self._conn, SAVE_HOST, [host_row(lease, state) for lease, state in hosts])

    def release(self, lease: Lease) -> None:
        """Give it back; nothing happens where it was lost."""
        query = update(tables.host).where(_holds(lease)).values(owner=None, until=None)
        self._conn.execute(query)

    def add_visits(self, rows: Sequence[VisitRow]) -> None:
        """What came of visits, for as long as `prune_visits` lets them be."""
        insert_many(
            self._conn,
            tables.visit,
            ("listing", "at", "outcome", "reason", "status"),
            [(r.listing, to_micros(r.at), r.outcome, r.reason, r.status) for r in rows],
        )

    def visits(self, listing: int | None = None, limit: int = 100) -> list[VisitRow]:
        """The newest first."""
        table = tables.visit
        query = select(table).order_by(table.c.at.desc(), table.c.id.desc()).limit(limit)
        if listing is not None:
            query = query.where(table.c.listing == listing)
        rows = self._conn.execute(query)
        return [VisitRow(r.listing, r.at, r.outcome, r.reason, r.status) for r in rows]

    def prune_visits(self, before: datetime) -> int:
        """Forget older visits; answers how many."""
        return self._conn.execute(delete(tables.visit).where(tables.visit.c.at < before)).rowcount


def _by_host(rows: Iterable[Any]) -> dict[str, list[int]]:
    result: dict[str, list[int]] = {}
    for host, listing in rows:
        result.setdefault(host, []).append(listing)
    return result


def _holds(lease: Lease) -> Any:
    table = tables.host
    return and_(
        table.c.host == lease.host,
        table.c.token == lease.token,
        table.c.owner == lease.owner,
    )
