"""How many earlier doubtful readings say the same as this one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, Protocol

from scrapers import Outcome, Reading

if TYPE_CHECKING:
    from datetime import datetime, timedelta


class Kept(Protocol):
    """A reading kept aside: when, what (the JSON object of a reading), how often it was seen.

    One that was seen before at other times may tell the first of them as `since`.
    """

    @property
    def at(self) -> datetime: ...
    @property
    def reading(self) -> Mapping[str, Any]: ...
    @property
    def seen(self) -> int: ...


def agreeing(
    reading: Reading,
    kept_aside: Sequence[Kept | Mapping[str, Any] | Reading],
    *,
    at: datetime,
    apart: timedelta,
) -> int:
    """How many full readings kept aside before `at - apart` show the same offer of the same thing.

    A later one that differs starts the count anew: they must agree in a row.
    """
    count = 0
    for kept in kept_aside:
        count = count + _sightings(kept, at - apart) if _same(reading, kept) else 0
    return count


def agreed_since(
    reading: Reading, kept_aside: Sequence[Kept | Mapping[str, Any] | Reading]
) -> datetime | None:
    """Since when the readings kept aside have shown the same in a row; None where none tells."""
    since: datetime | None = None
    for kept in kept_aside:
        if not _same(reading, kept):
            since = None
        elif since is None and not isinstance(kept, Mapping | Reading):
            since = getattr(kept, "since", None) or kept.at
    return since


def _sightings(kept: Kept | Mapping[str, Any] | Reading, latest: datetime) -> int:
    if isinstance(kept, Reading):
        return 1
    if isinstance(kept, Mapping):
        return int(kept.get("seen", 1))
    return kept.seen if kept.at <= latest else 0


def _same(reading: Reading, kept: Kept | Mapping[str, Any] | Reading) -> bool:
    if isinstance(kept, Reading):
        return kept.outcome is Outcome.OK and _signature(reading) == _signature(kept)
    said = kept if isinstance(kept, Mapping) else kept.reading
    whole = (
        said.get("outcome", Outcome.OK) == Outcome.OK
    )  # one that could not be read supports none
    return whole and _signature(reading) == _json_signature(said)


def _signature(reading: Reading) -> tuple[object, ...]:
    ids = reading.ids
    return (reading.price, reading.currency, ids.gtin, ids.mpn, ids.sku, reading.sold_as)


def _json_signature(said: Mapping[str, Any]) -> tuple[object, ...]:
    ids = said.get("ids") or {}
    named = (ids.get("gtin"), ids.get("mpn"), ids.get("sku"))
    return (_decimal(said.get("price")), said.get("currency"), *named, said.get("sold_as"))


def _decimal(text: object) -> Decimal | None:
    try:
        return None if text is None else Decimal(str(text))
    except InvalidOperation:
        return None
