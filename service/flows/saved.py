"""A page that the user saved from the browser counts as a reading of its listing, marked so."""

from __future__ import annotations

from dataclasses import replace

from scrapers import Outcome, Page, Visited, read_page, reading_to_json
from service.errors import InputError
from service.flows.keep import keep_verdicts
from service.flows.names import need_listing
from service.flows.ports import Deps, VisitRow
from service.flows.verdict import Seen, body_digest, decide, site_rules
from service.flows.writer import PollLine


def poll_saved(deps: Deps, name: str, body: bytes) -> PollLine:
    """Read `body` as the listing's page now; the gate judges it like any other."""
    with deps.store.write() as unit:
        listing = need_listing(unit, name)
        if listing.url is None:
            raise InputError(f'{listing.key} has no page: book a price with "ebbmark price"')
        state = unit.polls.states([listing.id])[listing.id]
        shop = unit.catalogue.suppliers()[listing.supplier]
        rules = site_rules(listing, shop)
        now = deps.clock()
        page = Page(listing.url, body, None, now)
        reading = read_page(page, rules)
        visited = Visited(listing.url, Outcome.OK, now, page=page)
        seen = Seen(
            listing,
            visited,
            reading,
            reading_to_json(listing.url, listing.url, reading),
            body_digest(page, rules),
        )
        doubt = next(iter(unit.log.doubts([listing.id])), None)
        verdict = decide(seen, state, unit.log.spells([listing.id]), doubt, shop)
        if verdict.observation:
            verdict = replace(verdict, observation=replace(verdict.observation, origin="page"))
        row = VisitRow(listing.id, now, verdict.outcome.value, "a page saved by hand")
        keep_verdicts(unit, deps, [verdict], [row], at=now)
    price = str(reading.price) if reading.price is not None else None
    return PollLine(listing.key, verdict.outcome, verdict.reason, price, reading.currency)
