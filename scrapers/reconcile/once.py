"""One purchase beside a subscription: what a visitor pays once, whatever the markup holds."""

from __future__ import annotations

from dataclasses import replace

from scrapers.model import Source
from scrapers.readers import labels
from scrapers.readers.claims import Seen
from scrapers.reconcile.court import Court, Verdict

NOTE = "the markup's price is that of a subscription"


def bought_once(verdict: Verdict, court: Court) -> Verdict:
    """The price that words call one-time, where the markup's is another amount in sight."""
    once = {s.amount: s for s in court.shown.all if _says_once(s)}
    others = {s.amount for s in court.shown.all} - set(once)
    if len(once) != 1 or verdict.doubt or verdict.price not in others:
        return verdict
    one = next(iter(once.values()))
    if court.shown.now is None or not court.same(court.shown.now.amount, one.amount):
        return verdict  # the page shows another price first
    return replace(
        verdict, price=one.amount, currency=one.currency or verdict.currency,
        source=Source.VISIBLE, note=NOTE,
    )  # fmt: skip


def _says_once(seen: Seen) -> bool:
    return labels.ONCE.search(f"{seen.label} {seen.text}") is not None
