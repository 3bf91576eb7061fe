"""The proofs of a reading: what markup and text say, and where."""

from __future__ import annotations

import re
from decimal import Decimal

from scrapers.model import Availability, Evidence, Tax
from scrapers.readers.claims import Seen
from scrapers.readers.pricelike import AMOUNT
from scrapers.reconcile.court import Court
from scrapers.reconcile.told import Told

MAX_VALUE = 120
MAX_SEEN = 30
_SEPARATORS = re.compile(r"\D")


def evidence_of(court: Court, price: Decimal | None = None) -> tuple[Evidence, ...]:
    """What markup and text say of prices; of many amounts in sight surely where `price` stands."""
    found = [proof for told in court.told for proof in _of_told(told)]
    shown = court.shown.all[:MAX_SEEN]
    backing = (court.shown.now, *(s for s in court.shown.all[MAX_SEEN:] if s.amount == price))
    for seen in (*(s for s in backing[:3] if s is not None and s not in shown), *shown):
        name = "price" if seen.kind in ("now", "gross", "low") else seen.kind
        found.append(Evidence("visible", name, _near(seen), seen.where))
    return tuple(found)


def _of_told(told: Told) -> list[Evidence]:
    reader = str(told.source)
    named = (
        ("price", told.text or told.price), ("currency", told.currency),
        ("list_price", told.list_price),
        ("low", told.low), ("high", told.high), ("member_price", told.member_price),
        ("shipping", told.shipping), ("country", told.country),
    )  # fmt: skip
    made = [
        Evidence(reader, n, str(v)[:MAX_VALUE], told.where) for n, v in named if v not in (None, "")
    ]
    if told.availability is not Availability.UNKNOWN:
        made.append(Evidence(reader, "availability", str(told.availability), told.where))
    if told.tax is not Tax.UNKNOWN:
        made.append(Evidence(reader, "tax", str(told.tax), told.where))
    return made


def _near(seen: Seen) -> str:
    """The text as it stood; of a long one the piece with the amount."""
    if len(seen.text) <= MAX_VALUE:
        return seen.text
    digits = f"{seen.amount.normalize():f}".replace(".", "").lstrip("0")
    spans = [m.span() for m in AMOUNT.finditer(seen.text)]
    holds = (
        s for s in spans if _SEPARATORS.sub("", seen.text[slice(*s)]).lstrip("0").startswith(digits)
    )
    start, _ = next(holds, spans[0] if spans else (0, 0))
    return seen.text[max(0, start - MAX_VALUE // 2) :][:MAX_VALUE]
