"""Add a page: paste, see what was read beside the page's own words, keep."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from scrapers import ScrapeError, SiteRules, read_amount, read_sold_as
from service.errors import InputError, ServiceError
from service.flows import add, views
from service.flows.add import Looked, Wish
from service.web.held import Held
from service.web.pages.common import Long, Text, at_build, at_part, deps_of, go
from service.web.render import page
from service.web.show import host

router = APIRouter(include_in_schema=False)
MOST_AT_ONCE = 50
UNITS = ("piece", "pair", "m", "m2", "g", "ml")
Query2000 = Annotated[str, Query(max_length=2000)]


LOOKS: Held[Looked] = Held("this look at the page is too long ago: read the page again")


@router.get("/add")
def door(request: Request, url: Query2000 = "", text: Query2000 = "") -> Response:
    """Also where a bookmark or a phone's share sheet leads; reading waits for a tap."""
    values = {"url": url or text, "builds": _builds(request), "base": str(request.base_url)}
    return page(request, "add.html", values)


def _builds(request: Request) -> list[dict[str, Any]]:
    deps = deps_of(request)
    with deps.store.read() as unit:
        return [{"build": b.key, "name": b.name} for b in unit.catalogue.builds().values()]


@router.post("/add")
async def look(request: Request, url: Annotated[str, Form(max_length=100_000)]) -> Response:
    """One address: what was read. Several: each with its outcome."""
    deps = deps_of(request)
    wanted = [word for word in url.split() if "://" in word][:MOST_AT_ONCE]
    if len(wanted) > 1:
        return await _many(request, wanted)
    address = add.clean_url(deps, url)
    return go(f"/add/{LOOKS.put(await add.fetch_and_read(deps, address))}")


async def _many(request: Request, urls: list[str]) -> Response:
    """Side by side over hosts; the pages of one host one after another, at its pace."""
    lanes: dict[str, list[str]] = {}
    for url in dict.fromkeys(urls):
        lanes.setdefault(host(url), []).append(url)
    rows = await asyncio.gather(*(_lane(request, lane) for lane in lanes.values()))
    found = [row for lane in rows for row in lane]
    return await run_in_threadpool(page, request, "add_many.html", {"found": found})


async def _lane(request: Request, urls: list[str]) -> list[dict[str, Any]]:
    return [await _one(request, url) for url in urls]


async def _one(request: Request, url: str) -> dict[str, Any]:
    deps = deps_of(request)
    try:
        looked = await add.fetch_and_read(deps, add.clean_url(deps, url))
    except (ServiceError, ScrapeError) as error:
        return {"url": url, "look": None, "reading": None, "problem": str(error)}
    return {"url": url, "look": LOOKS.put(looked), "reading": looked.reading, "problem": None}


@router.get("/add/{look}")
def again(request: Request, look: str) -> Response:
    return _shown(request, look, LOOKS.get(look), Wish())


@router.post("/add/{look}/rule")
def rule(request: Request, look: str, rule: Long = "", choice: Text = "") -> Response:
    """Something is wrong: read the same page again with a rule or a choice."""
    looked = LOOKS.get(look)
    if looked.page is None:
        raise InputError("the page could not be fetched, so there is nothing to read again")
    rules = SiteRules(price=rule or None, choice=choice or None)
    changed = add.read_again(looked.url, looked.page, rules)
    return _shown(request, LOOKS.put(changed, look), changed, Wish(rule=rule, choice=choice))


def _shown(
    request: Request, name: str, looked: Looked, wish: Wish, problems: list[str] | None = None
) -> Response:
    """What was read, what may be kept; after a refusal with what the form held."""
    deps, reading = deps_of(request), looked.reading
    sold_as = wish.sold_as or suggested_sold_as(reading)
    values = {
        "look": name,
        "url": looked.url,
        "reading": reading,
        "fetched": looked.page is not None,
        "wish": wish,
        "problems": problems or [],
        "candidates": add.working_rules(looked),
        "fitting": add.fitting_parts(deps, reading),
        "shop": add.shop_name(deps, looked.url),
        "parts": views.part_names(deps),
        "builds": _builds(request),
        "sold_as": sold_as,
        "unit": suggested_unit(sold_as) if not problems else wish.unit,
        "spec": json.dumps(reading.get("spec") or {}),
    }
    return page(request, "read.html", values, 422 if problems else 200)


def suggested_sold_as(reading: Mapping[str, Any]) -> str:
    """What the page or its title says that one unit of sale holds, else one piece."""
    if reading.get("sold_as"):
        return str(reading["sold_as"])
    found = read_sold_as(str(reading.get("title") or ""))
    return found.text if found is not None and found.text else "1 piece"


def suggested_unit(sold_as: str) -> str:
    """In what a part is counted that is sold like this."""
    found = read_amount(sold_as)
    unit = found.unit if found is not None else "piece"
    unit = {"kg": "g", "l": "ml", "cm": "m", "mm": "m", "cm2": "m2", "mm2": "m2"}.get(unit, unit)
    return unit if unit in UNITS else "piece"


@router.post("/add/{look}")
def keep(  # noqa: PLR0913, PLR0917 - the fields of the form
    request: Request,
    look: str,
    part: Text = "",
    name: Text = "",
    unit: Text = "piece",
    sold_as: Text = "",
    build: Text = "",
    amount: Text = "",
    group: Text = "",
    target: Text = "",
    choice: Text = "",
    rule: Long = "",
    spec: Long = "",
) -> Response:
    """Right: the page becomes a listing, its price the first of its history."""
    wish = Wish(
        part=part,
        name=name,
        unit=unit,
        sold_as=sold_as,
        build=build,
        amount=amount,
        group=group,
        target=target,
        choice=choice,
        rule=rule,
        spec=_spec(spec),
    )
    looked = LOOKS.get(look)
    try:
        key = add.keep(deps_of(request), looked, wish)
    except InputError as error:
        return _shown(request, look, looked, wish, error.problems)
    return go(at_build(build) if build else at_part(key), saved=True)


def _spec(text: str) -> dict[str, str]:
    try:
        found = json.loads(text or "{}")
    except ValueError:
        return {}
    if not isinstance(found, dict):
        return {}
    return {str(k)[:60]: str(v)[:120] for k, v in list(found.items())[:40]}
