"""Is this reading to be believed? A jump that nothing supports is kept aside, with its reason.

The price log holds accepted readings only, so the gate compares a reading with
the spells of its own listing. Doubt costs a little time (the page is visited
again soon), belief in a wrong price costs a false deal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from scrapers import Ids, Outcome, Reading
from service.prices.corroborate import Kept, agreed_since, agreeing
from service.prices.doubts import VAT_RATES, Doubt, doubt_of, slipped
from service.prices.identity import Known

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from service.model.prices import Spell

MEMORY = timedelta(days=365)

# Readings of the same page that must agree before a doubt is dropped, the first
# included. Their distance in time is the schedule's (a doubtful page is due
# again soon, never faster than its host allows); `apart` asks for more.
SIGHTINGS = {"price": 3, "identity": 5}

# A power of ten is how a misread page looks (cents taken for units, a lost decimal mark), and
# what was misread once is misread at every visit: such readings must also last so long, that
# the shop, the page or the user has time to set it right.
SLIP_LASTS = timedelta(hours=24)
SLIP_WORDS = (
    "; a misread page is misread each time, so readings must agree over"
    f" {SLIP_LASTS // timedelta(hours=1)} hours, or you accept it"
)


@dataclass(frozen=True, slots=True)
class GateVerdict:
    """Whether a reading may enter the price log.

    `reason`: why not, in words. `kind`: `reading`, `placeholder`, `identity`, `currency`,
    `tax`, `swapped`, `factor`, `vat`, `jump` or `flapping`. `needs`: how many more full
    readings must agree; 0 with a doubt: only the user can settle it. `until`: no reading
    before then settles it (a power of ten), however many agree.
    """

    accept: bool
    reason: str | None = None
    kind: str | None = None
    needs: int = 0
    until: datetime | None = None


ACCEPTED = GateVerdict(accept=True)


def judge(  # noqa: PLR0913 - every argument is one kind of evidence, all but two optional
    reading: Reading,
    history: Sequence[Spell],
    *,
    at: datetime,
    known_ids: Ids | None = None,
    known_title: str | None = None,
    known_sold_as: str | None = None,
    known_spec: Mapping[str, str] | None = None,
    kept_aside: Sequence[Kept | Mapping[str, Any] | Reading] = (),
    vat_rates: Sequence[Decimal] = VAT_RATES,
    apart: timedelta = timedelta(0),
) -> GateVerdict:
    """Believe `reading` (a full one, not a 304) of a listing with this `history`?

    `history`: accepted spells in time order; only the last year before `at` counts. `known_*`:
    what the page called itself when it was last believed. `kept_aside`: earlier doubtful readings
    of the listing (an object with `at`, `reading`, `seen` and where it has been seen before
    `since`, the JSON object of a reading, or a Reading; the last two tell no time). A user's
    decision goes past the gate.
    """
    if not _is_price(reading):
        return GateVerdict(False, reading.reason or "no price was read", "reading")
    known = Known(known_ids, known_title, known_sold_as, known_spec)
    recent = _recent(history, at)
    doubt = doubt_of(reading, recent, known, vat_rates)
    if doubt is None:
        return ACCEPTED
    before = agreeing(reading, kept_aside, at=at, apart=apart)
    return _weigh(_lasting(doubt, reading, recent), before, agreed_since(reading, kept_aside), at)


def _is_price(reading: Reading) -> bool:
    price = reading.price
    return (
        reading.outcome is Outcome.OK and reading.currency is not None and bool(price and price > 0)
    )


def _weigh(doubt: Doubt, before: int, since: datetime | None, at: datetime) -> GateVerdict:
    if doubt.kind == "placeholder":
        return GateVerdict(False, doubt.reason, doubt.kind)
    wanted = SIGHTINGS.get(doubt.kind, SIGHTINGS["price"])
    needs, until = wanted - before - 1, (since or at) + doubt.lasts
    if needs <= 0 and until <= at:
        return ACCEPTED
    return GateVerdict(
        False, doubt.reason, doubt.kind, max(needs, 1), until if doubt.lasts else None
    )


def _lasting(doubt: Doubt, reading: Reading, recent: Sequence[Spell]) -> Doubt:
    """A power of ten must last, whatever else the page is doubted for."""
    if doubt.kind == "placeholder" or not slipped(reading, recent):
        return doubt
    return replace(doubt, reason=doubt.reason + SLIP_WORDS, lasts=SLIP_LASTS)


def _recent(history: Sequence[Spell], at: datetime) -> list[Spell]:
    past = [spell for spell in history if spell.first_seen <= at]
    kept = [spell for spell in past if spell.last_seen >= at - MEMORY]
    return kept or past[-1:]
