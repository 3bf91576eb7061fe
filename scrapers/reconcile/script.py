"""Script state, read only where the other sources leave the price open or in doubt."""

from __future__ import annotations

from dataclasses import replace

from scrapers.model import Source
from scrapers.readers import state, visible
from scrapers.readers.said import says_amount
from scrapers.readers.statemoney import MINOR
from scrapers.reconcile.court import Court, Verdict
from scrapers.reconcile.settle import settle
from scrapers.reconcile.subject import Subject
from scrapers.reconcile.tell import tell


def with_state(
    page: Subject, court: Court, verdict: Verdict, view: visible.View
) -> tuple[Court, Verdict]:
    """A verdict without a price weighed again, with what scripts tell among the sources."""
    if verdict.price is not None:
        return court, verdict
    found = state.read(page.doc)
    if not found:
        return court, verdict
    name = view.title or page.head.title or next(iter(page.doc.titles), None)
    told, _ = tell(found, name, page.doc.url, page.rules.choice)
    if told is None:
        return court, verdict
    if told.doubt == MINOR and told.price and says_amount(page.text(), told.price):
        told = replace(told, doubt=None)
    more = replace(court, told=(*court.told, told), currency=court.currency or told.currency)
    again = settle(more)
    return more, again if again.price is not None or verdict.doubt is None else verdict


def states(page: Subject, court: Court, verdict: Verdict, view: visible.View) -> bool:
    """Whether script state names the page's product at the price in sight."""
    if verdict.price is None or court.told or verdict.source is not Source.VISIBLE:
        return False
    told, _ = tell(state.read(page.doc), view.title, page.doc.url, page.rules.choice)
    if told is None or not told.title or not told.goods:
        return False
    return told.price == verdict.price and page.akin(told, view.title)
