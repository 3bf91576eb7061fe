"""The variant that the page itself has chosen: by its address, or by what is ticked on it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from scrapers.model import Availability, Ids
from scrapers.readers import number
from scrapers.readers.claims import Offer
from scrapers.readers.dom import Doc
from scrapers.readers.places import Places
from scrapers.readers.said import prints
from scrapers.reconcile.court import Court, Verdict
from scrapers.reconcile.told import Told

MAX_TICKS = 100
MAX_OFFERS = 300
_TICKS = "input[checked], option[selected]"
_PARTS = re.compile(r"\s*[/|·,;:]\s*|\s+[-–—]\s+")  # noqa: RUF001  # the dashes of pages


def of_variant(
    doc: Doc, places: Places, text: Callable[[], str], court: Court, verdict: Verdict
) -> tuple[Court, Verdict]:
    """The chosen variant's numbers; a range stays beside its price only where the page shows it."""
    ranged = {v for v in (verdict.low, verdict.high) if v is not None} - {verdict.price}
    if verdict.price is None or verdict.doubt or not any(t.offers for t in court.told):
        return court, verdict
    ticked = None if any(t.addressed for t in court.told) else _shown(doc, places, court, verdict)
    if ticked is not None:
        told = tuple(_numbered(t, ticked) for t in court.told)
        court, verdict = replace(court, told=told), replace(verdict, told=None)
    elif not any(t.addressed for t in court.told):
        return court, verdict
    shown = court.shown.low is not None or all(
        prints(text(), end) or prints(_listed(doc), end) for end in ranged
    )
    return court, verdict if shown else replace(verdict, low=None, high=None)


def _listed(doc: Doc) -> str:
    """What the page's lists offer: a visitor sees the prices that they name."""
    return " ".join(node.text() for node in doc.tree.css("option")[:MAX_TICKS])


def _numbered(told: Told, offer: Offer) -> Told:
    """What the source says, with the numbers of one of its offers."""
    if offer not in told.offers:
        return told
    ids = told.ids
    numbers = Ids(offer.gtin or ids.gtin, offer.mpn or ids.mpn, offer.sku or ids.sku, ids.brand)
    known = offer.availability is not Availability.UNKNOWN
    return replace(
        told, ids=numbers, availability=offer.availability if known else told.availability
    )


def _shown(doc: Doc, places: Places, court: Court, verdict: Verdict) -> Offer | None:
    """The one offer that is ticked, or whose number the page shows, at the settled price."""
    ticked = _ticked(doc, court, verdict)
    offers = [o for t in court.told if t.own for o in t.offers[:MAX_OFFERS] if o.sku or o.gtin]
    found = number.read(doc, places) if ticked is None and len(offers) > 1 else None
    fits = [o for o in offers if found is not None and found[0] in (o.sku, o.gtin)]
    if len(fits) != 1 or not court.same(fits[0].price, verdict.price):
        return ticked
    return fits[0]


def _ticked(doc: Doc, court: Court, verdict: Verdict) -> Offer | None:
    """The one offer at the settled price whose name holds all that is ticked of the names."""
    offers = [o for t in court.told if t.own for o in t.offers[:MAX_OFFERS]]
    names = {id(o): _parts(o.name or "") for o in offers}
    known = set().union(*names.values()) if names else set()
    ticks = {part for node in doc.tree.css(_TICKS)[:MAX_TICKS] for part in _said(node.attributes)}
    ticks = ticks & known
    fits = [o for o in offers if ticks and ticks <= names[id(o)]]
    if len(fits) != 1 or not court.same(fits[0].price, verdict.price):
        return None
    return fits[0]


def _said(attrs: dict[str, str | None]) -> set[str]:
    return {(attrs.get("value") or "").strip().casefold()} - {""}


def _parts(name: str) -> set[str]:
    """The pieces of a variant's name: "Bar - 22 in / Fine" has "bar", "22 in" and "fine"."""
    return {part.casefold() for part in _PARTS.split(name.strip()) if part}
