"""Stock as the markup states it against stock as the page shows it."""

from __future__ import annotations

from scrapers.model import Availability, Evidence, Source
from scrapers.readers.stock import Stock
from scrapers.readers.stockwords import GOOD, LATER, OUT
from scrapers.reconcile.court import Court, Verdict
from scrapers.texts import says_few

IN = Availability.IN_STOCK
# what markup states that knows of nothing between, and what themes state for it
_BARE = (IN, Availability.LOW_STOCK, Availability.OUT_OF_STOCK)


def available(
    court: Court, verdict: Verdict, stock: Stock, *, ruled: bool
) -> tuple[Availability, Evidence | None]:
    """The stock, and what speaks against it.

    Plain "in stock" of the markup against a page that says sold out is for the user to settle.
    Words of a theme (a limited availability) yield to it; goods in sight against markup
    without any settle nothing, and leave the price clear.
    `ruled`: a rule of the user's own tells the stock.
    """
    if verdict.stock is not Availability.UNKNOWN:
        return verdict.stock, None
    if ruled:
        return stock.said, None
    told, shown = _told(court, verdict), stock.said
    if shown in OUT and not stock.mixed and _outdated(court, verdict):
        return shown, None
    if told is Availability.UNKNOWN or _refined(told, stock):
        return shown, None
    seen = shown in GOOD and stock.near
    clash = (told in GOOD and shown in OUT) or (told in OUT and seen)
    proof = stock.proof
    if clash and proof is not None and not stock.mixed and not court.choices:
        said = f'the markup says {told}, the page says "{proof.value[:40]}"'
        known = shown if shown in OUT else Availability.UNKNOWN
        known = told if told is IN else known
        return known, Evidence("visible", "doubt", said, proof.where)
    return told, None


def _outdated(court: Court, verdict: Verdict) -> bool:
    """Whether the price in sight is another than the markup's: its stock is as old as its price."""
    stated = [t for t in court.told if t.own and t.price is not None]
    return verdict.source is Source.VISIBLE and verdict.told is None and bool(stated)


def _told(court: Court, verdict: Verdict) -> Availability:
    """What the markup says that tells the price, else the first that says anything."""
    lead = (verdict.told,) if verdict.told else ()
    said = (t.availability for t in (*lead, *court.told))
    return next((a for a in said if a is not Availability.UNKNOWN), Availability.UNKNOWN)


def _refined(told: Availability, shown: Stock) -> bool:
    """Whether words in sight say more than the markup's bare yes or no.

    "Only 3 left", not "3 in stock"; "not in stock, can be ordered", for which the markup of
    many shops has one of the two.
    """
    if shown.mixed or shown.proof is None:
        return False
    if shown.said in LATER:
        return told in (*_BARE, *LATER) and shown.near
    return told is IN and shown.said is Availability.LOW_STOCK and says_few(shown.proof.value)
