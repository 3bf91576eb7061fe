"""Check: what is wrong with the book, and what to do about each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta
from typing import Any

from scrapers import clock_offset, feasible_every, host_key
from service.builds.texts import age_text
from service.flows import lanes
from service.flows.identity import rejected_in
from service.flows.ports import CLOCKS, Deps, Doubt, ListingState, Unit
from service.model.catalogue import Listing, Part
from service.model.prices import fresh_for

ADVICE = {
    "barred": "the shop does not let the program in; save the page and use poll --from",
    "gone": "look for the article's new page and add it; then remove this listing",
    "not_product": "open the page: it shows no price of its own",
    "refused": "see the reason; hosts of your own network go into EBBMARK_ALLOW_HOSTS",
    "unreachable": "it is tried again by itself",
    "throttled": "it is tried again when the shop allows",
    "too_large": "open the page: it is larger than any product page should be",
    "broken": "it is tried again by itself",
    "doubtful": "open the page; if it is right run: "
    'ebbmark accept "{key}", if not: ebbmark reject "{key}"',
}
Problem = dict[str, Any]


def check(deps: Deps) -> list[Problem]:
    """Every problem as `{"what", "problem", "do"}`."""
    with deps.store.read() as unit:
        return [
            *_settings(deps),
            *_clock(unit),
            *_crowded(unit, deps),
            *_listings(unit, deps),
            *_parts(unit),
            *_undelivered(unit),
        ]


def _problem(what: str, problem: str, do: str) -> Problem:
    return {"what": what, "problem": problem, "do": do}


def _settings(deps: Deps) -> Iterator[Problem]:
    if deps.contact is None:
        yield _problem(
            "settings",
            "no contact is set, so no shop outside this machine is visited",
            'write contact = "you@your-mail.example" into the settings',
        )


def _clock(unit: Unit) -> Iterator[Problem]:
    """Our clock against those of the hosts: a wrong one fails certificates and spoils dates."""
    told = unit.settings(CLOCKS)
    ahead = clock_offset([float(text) for text in told.values()])
    if ahead is not None:
        side = "behind" if ahead > 0 else "ahead of"
        yield _problem(
            "clock",
            f"this machine's clock is {abs(ahead) / 60:.0f} min {side} those of"
            f" {len(told)} hosts (their median)",
            "set the clock of this machine, and let the system keep it right",
        )


def _crowded(unit: Unit, deps: Deps) -> Iterator[Problem]:
    """Hosts with more pages than their gap lets us visit as often as asked."""
    suppliers = unit.catalogue.suppliers()
    by_host: dict[str, list[Listing]] = {}
    for listing in unit.catalogue.listings():
        if listing.url is not None:
            by_host.setdefault(host_key(listing.url), []).append(listing)
    for host, members in by_host.items():
        gap = max(lanes.gap_of(suppliers[m.supplier], host, deps.loopback_hosts) for m in members)
        asked = timedelta(days=len(members) / sum(timedelta(days=1) / m.every for m in members))
        possible = feasible_every(len(members), gap, asked, daily_cap=lanes.DAILY_CAP)
        if possible > asked:
            yield _problem(
                host,
                f"{len(members)} pages with a pause of {gap.total_seconds():g} s take"
                f" {possible / timedelta(hours=1):.1f} h a round, not"
                f" {asked / timedelta(hours=1):.1f} h; the pause is not shortened",
                'ask for them less often: every = "1d"',
            )


def _listings(unit: Unit, deps: Deps) -> Iterator[Problem]:
    listings = unit.catalogue.listings()
    states = unit.polls.states([entry.id for entry in listings])
    prices = unit.log.as_of(deps.clock())
    doubts = {doubt.listing: doubt for doubt in unit.log.doubts()}
    for listing in listings:
        state = states.get(listing.id)
        if doubt := doubts.get(listing.id):
            read = doubt.reading.get("price") or "no one price"
            do = ADVICE["doubtful"].format(key=listing.key)
            yield _problem(listing.key, f"doubtful: {doubt.reason} (read: {read})", do)
        elif state and (rejected := rejected_in(state)):
            yield _rejected(listing, rejected)
        elif state and state.last_outcome in ADVICE:
            reason = f": {state.last_reason}" if state.last_reason else ""
            do = ADVICE[state.last_outcome].format(key=listing.key)
            yield _problem(listing.key, f"{state.last_outcome}{reason}", do)
        now = prices.get(listing.id)
        if now is None:
            yield from _without_price(listing, state)
        elif deps.clock() - now.seen_at > fresh_for(listing.every):
            hours = int((deps.clock() - now.seen_at).total_seconds() // 3600)
            yield _problem(listing.key, f"price last seen {age_text(hours)} ago", _renew(listing))


def _rejected(listing: Listing, rejected: Doubt) -> Problem:
    read = rejected.reading.get("price") or "no one price"
    return _problem(
        listing.key,
        f"you rejected what its page said (read: {read}), and it has said nothing else since",
        f'if it is right after all run: ebbmark accept "{listing.key}"; if the page sells something'
        f' else now: ebbmark remove "{listing.key}"; else write a rule for it into the catalogue',
    )


def _without_price(listing: Listing, state: ListingState | None) -> Iterator[Problem]:
    if state is None or state.last_outcome in (None, "ok", "unchanged"):
        yield _problem(listing.key, "no price yet", _renew(listing))


def _renew(listing: Listing) -> str:
    if listing.url:
        return f'run: ebbmark poll "{listing.key}"'
    part = listing.supplies[0].part
    return f'run: ebbmark price {part} "7.90 EUR" --from {listing.supplier}'


def _parts(unit: Unit) -> Iterator[Problem]:
    sold = {supply.part for entry in unit.catalogue.listings() for supply in entry.supplies}
    builds, parts = unit.catalogue.builds().values(), unit.catalogue.parts()
    lines = [line for build in builds for line in build.lines if line.counts.kind != "owned"]
    named = {line.part for line in lines if line.part}
    lacking = {x for key in named - sold for x in _bought_as(key, parts) if x not in sold}
    for key in sorted(lacking):
        yield _problem(key, "used by a build but sold nowhere", "add a listing or a price by hand")


def _bought_as(key: str, parts: Mapping[str, Part]) -> tuple[str, ...]:
    """What nobody sells mixed is bought as its components."""
    return (parts[key].mix_of if key in parts else ()) or (key,)


def _undelivered(unit: Unit) -> Iterator[Problem]:
    for row in unit.outbox.rows():
        if row.get("state") == "undelivered":
            why = f"undelivered: {row.get('reason')}"
            yield _problem(f"notice {row['key']}", why, "see to the channel's settings")
