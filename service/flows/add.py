"""Adding a page: look at it once, show what was read, keep it when the user says it is right."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from scrapers import (
    Outcome,
    Page,
    Reading,
    ScrapeError,
    SiteRules,
    Visited,
    check_url,
    read_page,
    read_price,
    reading_to_json,
)
from service.builds.requirements import value_meets
from service.builds.specs import canonical
from service.errors import InputError, NotFoundError
from service.flows import build_edit, edit
from service.flows.keep import keep_verdicts
from service.flows.look import visit_in_turn
from service.flows.names import need_listing, supplier_at
from service.flows.ports import Deps, VisitRow
from service.flows.verdict import Seen, body_digest, decide, site_rules
from service.model.book import Book
from service.model.catalogue import Listing, Part, Supplier

NOBODY = Supplier("", "")
PRICE_FIELDS = ("price", "list_price", "low", "high")
MOST_RULES = 8
PATIENCE = 30.0  # seconds that a person waits for a host's turn


@dataclass(frozen=True, slots=True)
class Looked:
    """A page as it was fetched, and what it was read to; `page` None: it could not be fetched."""

    url: str
    reading: Mapping[str, Any]
    page: Page | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """What the user wants of a page: a known `part`, or a new one by `name` and `unit`.

    `build`, `amount`, `group`: a line to add to a build. `target`: tell me at or below.
    """

    part: str = ""
    name: str = ""
    unit: str = "piece"
    sold_as: str = ""
    build: str = ""
    amount: str = ""
    group: str = ""
    target: str = ""
    choice: str = ""
    rule: str = ""
    spec: Mapping[str, str] | None = None


def clean_url(deps: Deps, text: str) -> str:
    """The address in what was pasted. InputError says why it may not be visited."""
    url = next((word for word in text.split() if "://" in word), text.strip())
    if not url:
        raise InputError("paste the address of a shop page, beginning with https://")
    check_url(url, deps.extra["policy"])
    return url


async def fetch_and_read(deps: Deps, url: str, rules: SiteRules | None = None) -> Looked:
    """Visit a page in its host's turn and read it; nothing of it is kept yet."""
    visited = await visit_in_turn(deps, url, patience=PATIENCE)
    if isinstance(visited, str):
        return Looked(url, reading_to_json(url, url, Reading(Outcome.THROTTLED, visited)))
    return await asyncio.to_thread(_read, url, visited, rules)


def _read(url: str, visited: Visited, rules: SiteRules | None) -> Looked:
    if visited.page is None:
        return Looked(url, reading_to_json(url, url, Reading(visited.outcome, visited.reason)))
    return read_again(url, visited.page, rules)


def read_again(url: str, page: Page, rules: SiteRules | None) -> Looked:
    """The same page under other rules."""
    reading = read_page(page, rules)
    return Looked(url, reading_to_json(url, page.url, reading), page)


def working_rules(looked: Looked) -> list[dict[str, str]]:
    """Every number that a reader took for a price, with a rule that really finds it again."""
    if looked.page is None:
        return []
    found: dict[str, dict[str, str]] = {}
    for item in looked.reading.get("evidence") or []:
        value, where = str(item.get("value") or ""), str(item.get("where") or "")
        if item.get("field") not in PRICE_FIELDS or not where or value in found:
            continue
        rule = next((r for r in _rules_for(where) if _finds(looked.page, r, value)), None)
        if rule is not None:
            found[value] = {"value": value, "reader": str(item.get("reader")), "rule": rule}
        if len(found) == MOST_RULES:
            break
    return list(found.values())


def _rules_for(where: str) -> list[str]:
    inner = where.partition(".")[2]
    marked = f"css:{where} [itemprop=price]"
    rules = [f"css:{where}", f"{marked}@content", marked]
    return [*rules, f"json:{inner}.price", f"json:{where}", f"json:{inner}"]


def _finds(page: Page, rule: str, value: str) -> bool:
    try:
        reading = read_page(page, SiteRules(price=rule))
    except ScrapeError:
        return False
    wanted = read_price(value)
    return reading.price is not None and wanted is not None and reading.price == wanted.amount


def keep(deps: Deps, looked: Looked, wish: Wish) -> str:
    """Part, listing, first price, line and target; answers the part's key."""
    key = wish.part or _new_part(deps, wish)
    listing = _listing(deps, looked.url, key, wish)
    if looked.page is not None:
        _first_reading(deps, listing, looked.page)
    if wish.build:
        build_edit.add_line(deps, wish.build, key, wish.amount or "1", wish.group or "other")
    if wish.target.strip():
        build_edit.set_target(deps, "part", key, wish.target)
    return key


def _new_part(deps: Deps, wish: Wish) -> str:
    name = " ".join(wish.name.split())[:200]
    if not name:
        raise InputError("name: what do you call this part?")
    build_edit.read_amount("1", Part("", "", wish.unit))
    with deps.store.write() as unit:
        key = build_edit.slug(name, unit.catalogue.parts())
        part = Part(key, name, wish.unit, dict(wish.spec or {}))
        unit.catalogue.save(Book(parts=(part,)), now=deps.clock())
    return key


def _listing(deps: Deps, url: str, part: str, wish: Wish) -> Listing:
    made = edit.add_listing(deps, url, part, sold_as=wish.sold_as or None, every=None)
    if not wish.choice and not wish.rule:
        return made
    changed = replace(made, choice=wish.choice or None, rule=_rule(wish.rule))
    with deps.store.write() as unit:
        unit.catalogue.save(Book(listings=(changed,)), now=deps.clock())
        return need_listing(unit, made.key)


def _rule(text: str) -> dict[str, str]:
    return {"price": text} if text else {}


def _first_reading(deps: Deps, listing: Listing, page: Page) -> None:
    """The page that was looked at counts as the first visit."""
    with deps.store.write() as unit:
        shop = unit.catalogue.suppliers().get(listing.supplier)
        if shop is None:
            raise NotFoundError(f'no supplier "{listing.supplier}"')
        rules = site_rules(listing, shop)
        reading = read_page(page, rules)
        visited = Visited(page.url, Outcome.OK, page.fetched_at, page=page)
        as_json = reading_to_json(listing.url or page.url, page.url, reading)
        seen = Seen(listing, visited, reading, as_json, body_digest(page, rules))
        state = unit.polls.states([listing.id])[listing.id]
        verdict = decide(seen, state, [], None, shop)
        row = VisitRow(listing.id, page.fetched_at, verdict.outcome.value, verdict.reason)
        keep_verdicts(unit, deps, [verdict], [row], at=page.fetched_at)


def fitting_parts(deps: Deps, reading: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Known parts that this page may sell: same GTIN, same MPN, else a like name or specification.

    Each with why; the surest first.
    """
    ids, spec = reading.get("ids") or {}, reading.get("spec") or {}
    title = str(reading.get("title") or "")
    with deps.store.read() as unit:
        parts = unit.catalogue.parts().values()
    found = [
        (score, part, why) for part in parts for score, why in likeness(part, ids, spec, title)
    ]
    found.sort(key=lambda item: -item[0])
    best: dict[str, dict[str, Any]] = {}
    for _, part, why in found:
        best.setdefault(part.key, {"part": part.key, "name": part.name, "why": why})
    return list(best.values())[:6]


def shop_name(deps: Deps, url: str) -> str | None:
    """The name of the supplier that the page is known to be of."""
    with deps.store.read() as unit:
        found = supplier_at(unit, url)
    return found.name if found else None


def likeness(
    part: Part, ids: Mapping[str, Any], spec: Mapping[str, Any], title: str
) -> list[tuple[Decimal, str]]:
    """How much speaks for the page selling this part, each with its reason."""
    found = []
    if ids.get("gtin") and part.ids.get("gtin") == ids["gtin"]:
        found.append((Decimal(3), "same GTIN"))
    if ids.get("mpn") and part.ids.get("mpn") == ids["mpn"]:
        found.append((Decimal(2), "same maker's number"))
    seen = {canonical(key): str(value) for key, value in spec.items()}
    both = {key: value for key, value in part.spec.items() if canonical(key) in seen}
    alike = {key for key, value in both.items() if value_meets(seen[canonical(key)], value)}
    against = both.keys() - alike
    if alike and not against:
        found.append((Decimal(1), f"same {', '.join(sorted(alike))}"))
    words = set(title.casefold().split())
    shared = words & set(part.name.casefold().split())
    if words and title.casefold().split() == part.name.casefold().split() and not against:
        found.append((Decimal("1.5"), "same name"))
    if len(shared) >= 2 and not against:
        found.append((Decimal(len(shared)) / 100, f"like in name: {' '.join(sorted(shared))}"))
    return found
