"""What one visit means for its listing: pure, so that every rule can be tested alone."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from decimal import Decimal
from functools import lru_cache
from operator import attrgetter
from typing import Any

from scrapers import (
    Evidence,
    Ids,
    Outcome,
    Page,
    Reading,
    SiteRules,
    Validators,
    Visited,
    reading_to_json,
)
from service.builds.tax import standard_rate
from service.flows.due import FULL_EVERY, next_due
from service.flows.identity import (
    identity_of,
    known_ids,
    known_spec,
    rejected_in,
    same_price,
    with_rejected,
)
from service.flows.ports import Doubt, ListingState
from service.model.catalogue import Listing, Supplier
from service.model.prices import Observation, Offer, Spell
from service.prices.doubts import VAT_RATES
from service.prices.gate import judge

READER_VERSION = "1"  # raised when pages must be read anew although their bytes are the same
_RULES = tuple(field.name for field in fields(SiteRules) if field.name != "ids")
_EVIDENCE = tuple(field.name for field in fields(Evidence))
_rules_of = attrgetter(*_RULES)
_evidence_of = attrgetter(*_EVIDENCE)


@dataclass(frozen=True, slots=True)
class Seen:
    """A visit with what was read from its page, before anything is decided."""

    listing: Listing
    visited: Visited
    reading: Reading | None = None
    reading_json: Mapping[str, Any] | None = None  # where it is not made of the two above
    digest: str | None = None
    supplier: Supplier | None = None

    def as_json(self) -> Mapping[str, Any]:
        """The reading as `ebbmark read` shows it; made only when it is wanted."""
        if self.reading_json is not None or self.reading is None:
            return self.reading_json or {}
        page = self.visited.page
        asked = self.listing.url or ""
        return reading_to_json(asked, page.url if page else asked, self.reading)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is to be kept of a visit. `clear_doubt`: an older doubt is settled."""

    outcome: Outcome
    reason: str | None
    state: ListingState
    observation: Observation | None = None
    doubt: Doubt | None = None
    clear_doubt: bool = False


def site_rules(listing: Listing, supplier: Supplier, known: Ids | None = None) -> SiteRules:
    """What the catalogue knows about a page, for the reader."""
    rule = dict(listing.rule)
    return SiteRules(
        price=rule.get("price"),
        list_price=rule.get("list_price"),
        availability=rule.get("availability"),
        title=rule.get("title"),
        currency=rule.get("currency") or supplier.currency,
        country=listing.country or supplier.country,
        locale=rule.get("locale"),
        choice=listing.choice,
        prices=supplier.prices,
        ids=known,
    )


def fingerprint(rules: SiteRules) -> str:
    """Changes when the same bytes could read differently.

    What the page called itself is left out: it follows from the bytes.
    """
    return _fingerprint(_rules_of(rules))


@lru_cache(maxsize=1024)  # most listings of a supplier have the same rules
def _fingerprint(values: tuple[str | None, ...]) -> str:
    pairs = sorted([("ids", None), *zip(_RULES, values, strict=True)])
    return hashlib.sha256((READER_VERSION + repr(pairs)).encode()).hexdigest()[:12]


def body_digest(page: Page, rules: SiteRules) -> str:
    """Of the bytes and of how they are read."""
    return f"{fingerprint(rules)}:{hashlib.sha256(page.body).hexdigest()}"


def validators_to_send(state: ListingState, rules: SiteRules, now: datetime) -> Validators:
    """None after a doubt, after a change of rules, and once a week."""
    stale = state.last_full_at is None or now - state.last_full_at >= FULL_EVERY
    same_rules = (state.digest or "").startswith(fingerprint(rules))
    trusted = state.verdict == Outcome.OK
    return state.validators if same_rules and trusted and not stale else Validators()


def repeats(state: ListingState, visited: Visited, digest: str | None) -> bool:
    """Whether the page says again what was accepted the last time."""
    if state.verdict != Outcome.OK:
        return False
    return visited.outcome is Outcome.UNCHANGED or (digest is not None and digest == state.digest)


def decide(
    seen: Seen,
    state: ListingState,
    history: Sequence[Spell],
    doubt: Doubt | None,
    supplier: Supplier | None = None,
) -> Verdict:
    """The outcome of a visit and everything that follows from it for the listing."""
    visited, at = seen.visited, seen.visited.finished_at
    if repeats(state, visited, seen.digest) and history:
        return _unchanged(seen, state, history[-1], at)
    if visited.outcome is not Outcome.OK or seen.reading is None:
        return _failed(seen, state, visited.outcome, visited.reason, at)
    reading = seen.reading
    if reading.outcome is not Outcome.OK:
        return _not_read(seen, state, doubt, at)
    gate = judge(
        reading,
        history,
        at=at,
        known_ids=known_ids(state),
        known_title=state.identity.get("title"),
        known_sold_as=state.identity.get("sold_as"),
        known_spec=known_spec(state),
        kept_aside=(doubt,) if doubt else (),
        vat_rates=vat_rates(seen.listing, supplier, at),
    )
    if gate.accept:
        return _accepted(seen, state, reading, doubt, at)
    return _doubtful(seen, state, doubt, gate.reason, at)


def vat_rates(listing: Listing, supplier: Supplier | None, at: datetime) -> Sequence[Decimal]:
    """By which rates a price may change its footing: the country's; all where it is not known."""
    country = listing.country or (supplier.country if supplier else None)
    rate = standard_rate(country, at.date())
    return VAT_RATES if rate is None else (rate,)


def offer_of(reading: Reading) -> Offer:
    """The terms that a reading states. The reading must have price and currency."""
    if reading.price is None or reading.currency is None:
        raise ValueError("a reading without price or currency states no offer")
    return Offer(
        price=reading.price,
        currency=reading.currency,
        list_price=reading.list_price,
        availability=reading.availability,
        tax=reading.tax,
    )


def _unchanged(seen: Seen, state: ListingState, last: Spell, at: datetime) -> Verdict:
    whole: dict[str, Any] = {}
    if seen.visited.page is not None:
        whole = {"last_full_at": at, "validators": seen.visited.validators}
    after = _visited(seen, state, Outcome.UNCHANGED, None, at, failures=0, **whole)
    observation = Observation(seen.listing.id, at, last.offer)
    return Verdict(Outcome.UNCHANGED, None, after, observation)


def _accepted(
    seen: Seen, state: ListingState, reading: Reading, doubt: Doubt | None, at: datetime
) -> Verdict:
    whole = _whole_page(seen, Outcome.OK, None, at)
    whole["evidence"] = tuple(
        [dict(zip(_EVIDENCE, _evidence_of(e), strict=True)) for e in reading.evidence]
    )
    whole["identity"] = identity_of(reading)
    after = _visited(seen, state, Outcome.OK, None, at, failures=0, **whole)
    observation = Observation(seen.listing.id, at, offer_of(reading))
    return Verdict(Outcome.OK, None, after, observation, clear_doubt=doubt is not None)


def _doubtful(
    seen: Seen, state: ListingState, before: Doubt | None, reason: str | None, at: datetime
) -> Verdict:
    failures = state.failures + 1 if state.last_outcome == Outcome.DOUBTFUL else 0
    whole = _whole_page(seen, Outcome.DOUBTFUL, reason, at)
    after = _visited(seen, state, Outcome.DOUBTFUL, reason, at, failures=failures, **whole)
    reading = dict(seen.as_json())
    rejected = rejected_in(state)
    if rejected and same_price(rejected.reading, reading):
        return _rejected(seen, after, replace(rejected, at=at), at)
    again = before if before and same_price(before.reading, reading) else None
    times, since = (again.seen + 1, again.since or again.at) if again else (1, at)
    doubt = Doubt(seen.listing.id, at, reason or "doubtful", reading, times, since)
    return Verdict(Outcome.DOUBTFUL, reason, after, doubt=doubt)


def _rejected(seen: Seen, after: ListingState, rejected: Doubt, at: datetime) -> Verdict:
    """The page shows again what the user called wrong: no new question, the usual pace."""
    reason = f"{rejected.reading.get('price') or 'the reading'} was rejected"
    state = replace(
        after,
        identity=with_rejected(after, rejected),
        next_due_at=next_due(seen.listing.key, seen.listing.every, at, Outcome.OK, 0),
        failures=0,
        last_reason=reason,
        verdict_reason=reason,
    )
    return Verdict(Outcome.DOUBTFUL, reason, state, clear_doubt=True)


def _not_read(seen: Seen, state: ListingState, doubt: Doubt | None, at: datetime) -> Verdict:
    reading = seen.reading
    if reading is None:
        raise ValueError("a page that was not read has no reading")
    if reading.outcome is Outcome.DOUBTFUL:
        return _doubtful(seen, state, doubt, reading.reason, at)
    failed = _failed(seen, state, reading.outcome, reading.reason, at)
    whole = _whole_page(seen, reading.outcome, failed.state.last_reason, at)
    return replace(failed, state=replace(failed.state, **whole))


def _failed(
    seen: Seen, state: ListingState, outcome: Outcome, reason: str | None, at: datetime
) -> Verdict:
    missing = state.missing + 1 if reason == "missing" else 0
    if missing >= 2:  # a second 404 at a later visit
        outcome, reason = Outcome.GONE, "the page is gone (404 at two visits)"
    after = _visited(seen, state, outcome, reason, at, failures=state.failures + 1)
    return Verdict(outcome, reason, replace(after, missing=missing))


def _visited(
    seen: Seen,
    state: ListingState,
    outcome: Outcome,
    reason: str | None,
    at: datetime,
    *,
    failures: int,
    **more: Any,
) -> ListingState:
    """The state after a visit; `more`: what else of it changed."""
    listing = seen.listing
    return replace(
        state,
        **more,
        next_due_at=next_due(listing.key, listing.every, at, outcome, failures),
        failures=failures,
        missing=0,
        last_visit_at=at,
        last_outcome=outcome.value,
        last_reason=reason,
    )


def _whole_page(seen: Seen, verdict: Outcome, reason: str | None, at: datetime) -> dict[str, Any]:
    """What a state keeps of a page that came whole."""
    return {
        "digest": seen.digest,
        "validators": seen.visited.validators,
        "verdict": verdict.value,
        "verdict_reason": reason,
        "last_full_at": at,
    }
