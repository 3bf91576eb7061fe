"""Keep a batch of visits: price log, doubts, states, pace, deals and notices at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scrapers import Outcome, clock_ahead
from service.flows.ports import CLOCKS, Deps, Doubt, Lease, Unit, VisitRow
from service.flows.react import react
from service.flows.verdict import Seen, Verdict, decide
from service.model.prices import Spell

HISTORY = timedelta(days=365)
CLOCK_NEWS = 60.0  # seconds: a visit's own length is no change of a clock


@dataclass(frozen=True, slots=True)
class Result:
    """One visit under the lease that it was made with."""

    seen: Seen
    lease: Lease


def keep_batch(deps: Deps, batch: Sequence[Result]) -> list[tuple[Outcome, str | None]]:
    """One transaction; answers the final outcome and reason of each result."""
    with deps.store.write() as unit:
        return keep(unit, deps, batch)


def keep(unit: Unit, deps: Deps, batch: Sequence[Result]) -> list[tuple[Outcome, str | None]]:
    """The same inside a transaction that is already open."""
    verdicts = _decide_all(unit, batch)
    rows = [_row(result, verdict) for result, verdict in zip(batch, verdicts, strict=True)]
    _save_hosts(unit, batch)
    note_clocks(unit, {r.lease.host: clock_ahead(r.seen.visited) for r in batch})
    keep_verdicts(unit, deps, verdicts, rows, at=_latest(batch))
    return [(verdict.outcome, verdict.reason) for verdict in verdicts]


def keep_verdicts(
    unit: Unit, deps: Deps, verdicts: Sequence[Verdict], rows: Sequence[VisitRow], *, at: datetime
) -> None:
    """Write what was decided, and let the new prices set off what they set off."""
    observations = [v.observation for v in verdicts if v.observation]
    unit.log.record(observations)
    for verdict in verdicts:
        if verdict.doubt:
            unit.log.keep_doubt(verdict.doubt)
        elif verdict.clear_doubt:
            unit.log.clear_doubt(verdict.state.listing)
    unit.polls.save_states([v.state for v in verdicts])
    unit.polls.add_visits(rows)
    touched = {o.listing for o in observations} | _gone(verdicts)
    if touched:
        react(unit, deps, touched, at=at)


def _decide_all(unit: Unit, batch: Sequence[Result]) -> list[Verdict]:
    ids = [result.seen.listing.id for result in batch]
    states = unit.polls.states(ids)
    history: dict[int, list[Spell]] = {}
    for spell in unit.log.spells(ids, since=_latest(batch) - HISTORY):
        history.setdefault(spell.listing, []).append(spell)
    doubts: dict[int, Doubt] = {doubt.listing: doubt for doubt in unit.log.doubts(ids)}
    return [
        decide(r.seen, states[i], history.get(i, []), doubts.get(i), r.seen.supplier)
        for r, i in zip(batch, ids, strict=True)
    ]


def _save_hosts(unit: Unit, batch: Sequence[Result]) -> None:
    newest = {result.lease.host: result.lease for result in batch}
    unit.polls.save_hosts([(lease, lease.state) for lease in newest.values()])


def note_clocks(unit: Unit, hosts: Mapping[str, float | None]) -> None:
    """How far each host's clock is ahead of ours, written where it is news."""
    told = {host: ahead for host, ahead in hosts.items() if ahead is not None}
    if not told:
        return
    known = unit.settings(CLOCKS)
    for host, ahead in told.items():
        if abs(ahead - float(known.get(CLOCKS + host, math.inf))) > CLOCK_NEWS:
            unit.set_setting(CLOCKS + host, f"{ahead:.0f}")


def _row(result: Result, verdict: Verdict) -> VisitRow:
    visited = result.seen.visited
    return VisitRow(
        result.seen.listing.id,
        visited.finished_at,
        verdict.outcome.value,
        verdict.reason,
        visited.status,
    )


def _gone(verdicts: Sequence[Verdict]) -> set[int]:
    return {v.state.listing for v in verdicts if v.outcome is Outcome.GONE}


def _latest(batch: Sequence[Result]) -> datetime:
    return max(result.seen.visited.finished_at for result in batch)
