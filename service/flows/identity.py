"""What a page called itself when it was last believed, and the reading that the user rejected.

Both stand in a listing's state as plain text: later readings are held against them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from operator import attrgetter
from typing import Any, Literal

from scrapers import Ids, Reading
from service.builds.breaks import tiers_text
from service.flows.ports import Doubt, ListingState

TIERS = "multibuy"  # its prices for several
SPEC = "spec."  # before the names of specification values
REJECTED = "rejected"  # a reading that the user called wrong, as JSON
_IDS = tuple(field.name for field in fields(Ids))
_ids_of = attrgetter(*_IDS)


@dataclass(frozen=True, slots=True)
class _Tier:
    """A price for several, as the JSON of a reading states it."""

    quantity: int
    per: Literal["lot", "each"]
    price: Decimal


def identity_of(reading: Reading) -> dict[str, str]:
    """What the page called itself."""
    names = dict(zip(_IDS, _ids_of(reading.ids), strict=True))
    names |= {"title": reading.title, "sold_as": reading.sold_as}
    names[TIERS] = tiers_text(reading.multibuy)
    return _said(names, reading.spec)


def identity_in(reading: Mapping[str, Any]) -> dict[str, str]:
    """The same of a reading that was kept as JSON."""
    names = {name: (reading.get("ids") or {}).get(name) for name in _IDS}
    names |= {"title": reading.get("title"), "sold_as": reading.get("sold_as")}
    tiers = reading.get("multibuy") or ()
    names[TIERS] = tiers_text(
        _Tier(t["quantity"], t["per"], Decimal(t["price"])) for t in tiers if t.get("price")
    )
    return _said(names, reading.get("spec") or {})


def _said(names: Mapping[str, str | None], spec: Mapping[str, str]) -> dict[str, str]:
    whole = {**names, **{SPEC + key: value for key, value in spec.items()}}
    return {name: value for name, value in whole.items() if value}


def known_ids(state: ListingState) -> Ids | None:
    """The identifiers of the page that was last believed."""
    if not set(state.identity) - {REJECTED}:
        return None
    return Ids(**{name: state.identity.get(name) for name in _IDS})


def known_spec(state: ListingState) -> dict[str, str] | None:
    """Its specification."""
    spec = {k.removeprefix(SPEC): v for k, v in state.identity.items() if k.startswith(SPEC)}
    return spec or None


def with_rejected(state: ListingState, doubt: Doubt) -> dict[str, str]:
    """The state's identity, with the reading that the user does not believe."""
    kept = {"at": doubt.at.isoformat(), "reason": doubt.reason, "reading": dict(doubt.reading)}
    return {**state.identity, REJECTED: json.dumps(kept, ensure_ascii=False, default=str)}


def rejected_in(state: ListingState) -> Doubt | None:
    """The reading that the user rejected, where no other was believed since."""
    text = state.identity.get(REJECTED)
    if not text:
        return None
    kept = json.loads(text)
    at = datetime.fromisoformat(kept["at"])
    return Doubt(state.listing, at, kept["reason"], kept["reading"])


def same_price(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two readings state the same price."""
    return all(one.get(name) == other.get(name) for name in ("price", "currency"))
