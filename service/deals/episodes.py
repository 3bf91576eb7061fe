"""Episodes: a deal opens once when its target is met and closes once when it no longer is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from service.deals.evaluate import Standing, has_ended, is_met
from service.model.deals import Deal, DealState, Target, condition_text
from service.model.money import Money


@dataclass(frozen=True, slots=True)
class Step:
    """What an evaluation changes.

    `deal`: to be kept (opened, updated or closed). `tell`: why a notice is due
    ("opened" or "cheaper again"), or None. `met_since`: when the condition
    began to hold, kept for targets with a hold time.
    """

    deal: Deal | None = None
    tell: str | None = None
    met_since: datetime | None = None


def step(
    target: Target,
    standing: Standing,
    open_deal: Deal | None,
    *,
    at: datetime,
    met_since: datetime | None = None,
) -> Step:
    """One evaluation at `at`. What cannot be told changes nothing."""
    if has_ended(target, at.date()):
        return Step(_closed(open_deal, at, "the target has ended"))
    if standing.gone:
        return Step(_closed(open_deal, at, "the page is gone"))
    met = is_met(target, standing)
    if met is None:
        return Step(met_since=met_since)
    if open_deal is not None:
        return _while_open(target, standing, open_deal, at, met=met)
    return _while_closed(target, standing, at, met=met, met_since=met_since)


def _while_closed(
    target: Target, standing: Standing, at: datetime, *, met: bool, met_since: datetime | None
) -> Step:
    if not met:
        return Step()
    since = met_since or at
    if at - since < (target.hold or timedelta(0)):
        return Step(met_since=since)
    return Step(_opened(target, standing, at), "opened", since)


def _while_open(target: Target, standing: Standing, deal: Deal, at: datetime, *, met: bool) -> Step:
    if not met and _really_above(target, standing):
        return Step(_closed(deal, at, _why_closed(target, standing)))
    if standing.value is None or standing.value == deal.value:
        return Step(met_since=deal.opened_at)
    better = replace(
        deal, value=standing.value, listing=standing.listing, evidence=standing.evidence
    )
    told_before = deal.value
    return Step(better, _again(target, told_before, standing.value), deal.opened_at)


def _really_above(target: Target, standing: Standing) -> bool:
    """With `reopen_above` a price that wobbles on the line does not end the episode."""
    if target.reopen_above is None or standing.value is None:
        return True
    return standing.value.amount > target.reopen_above.amount


def _again(target: Target, before: Money | None, now: Money) -> str | None:
    bound = target.again_below
    if bound is None or before is None or before.amount < bound.amount:
        return None
    return "cheaper again" if now.amount < bound.amount else None


def _opened(target: Target, standing: Standing, at: datetime) -> Deal:
    began = standing.since or at
    return Deal(
        key=f"{target.key}@{began.strftime('%Y%m%dT%H%M%SZ')}",
        target=target.key,
        kind=target.kind,
        subject=target.subject,
        state=DealState.OPEN,
        opened_at=at,
        value=standing.value,
        listing=standing.listing,
        evidence=standing.evidence,
    )


def _closed(deal: Deal | None, at: datetime, reason: str) -> Deal | None:
    if deal is None:
        return None
    return replace(deal, state=DealState.CLOSED, closed_at=at, close_reason=reason)


def _why_closed(target: Target, standing: Standing) -> str:
    if target.back_in_stock:
        return "no longer in stock"
    return f"{standing.value} is not {condition_text(target)}"
