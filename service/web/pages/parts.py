"""Parts: the list, one part with its chart, parts of one kind by their natural measure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from service.charts.model import PriceChart
from service.errors import InputError
from service.flows import build_edit, targets, views
from service.flows.past import history
from service.flows.ports import Deps
from service.web.pages.builds import drawn
from service.web.pages.common import Text, at_part, deps_of, go
from service.web.render import page
from service.web.show import day

router = APIRouter(include_in_schema=False)
RANGES = {"90d": 90, "1y": 365, "all": None}
Listing = Annotated[str | None, Query(max_length=2000)]


@router.get("/parts")
def parts(request: Request, q: Annotated[str, Query(max_length=100)] = "") -> Response:
    rows = views.parts(deps_of(request))
    words = q.casefold().split()
    if words:
        rows = [row for row in rows if all(w in row["name"].casefold() for w in words)]
    return page(request, "part_list.html", {"parts": rows, "q": q})


@router.get("/parts/{key}")
def part(
    request: Request,
    key: str,
    range_: Annotated[str, Query(alias="range", pattern="^(90d|1y|all)$")] = "1y",
    listing: Listing = None,
) -> Response:
    deps = deps_of(request)
    found = views.part(deps, key)
    chart = views.part_chart(deps, key, RANGES[range_], listing)
    main = listing or next((row["listing"] for row in found["where"] if row["price"]), None)
    values = {
        "part": found,
        "on_pages": [t for t in targets.rows(deps) if t["kind"] == "listing"],
        "history": _past(deps, key, main),
        "range": range_,
        "rows": list(_table(chart)),
        "chart": chart,
        **drawn(chart, 310),
    }
    return page(request, "part.html", values)


def _past(deps: Deps, key: str, listing: str | None) -> dict[str, Any] | None:
    """Statistics of the listing that is drawn in ink, advice of the part; None: nothing seen."""
    if listing is None:
        return None
    found = history(deps, listing)
    whole = history(deps, key)
    shops, advice = views.names(deps)["supplier"], whole["advice"]
    return found | {
        "advice": advice | {"reasons": [told(reason, shops) for reason in advice["reasons"]]},
        "calendar": [told(fact, shops) for fact in whole["calendar"]],
    }


def told(fact: Any, shops: Mapping[str, str]) -> str:
    """A fact of the log as a sentence: shops by name, days as people write them."""
    text = str(fact.get("text") if isinstance(fact, dict) else fact)
    text = re.sub(r"[a-z0-9][a-z0-9-]*", lambda match: shops.get(match[0], match[0]), text)
    text = re.sub(r"\b\d{4}-\d\d-\d\d\b", lambda match: day(match[0]), text)
    return text[:1].upper() + text[1:]


def _table(chart: PriceChart) -> list[dict[str, Any]]:
    """The same as the chart, as rows, the newest first."""
    rows: list[dict[str, Any]] = [
        {"line": line.name, "value": run.value, "start": run.start, "end": run.end}
        for line in chart.lines
        if line.kind != "regular"
        for run in line.runs
    ]
    rows.sort(key=lambda row: row["start"], reverse=True)
    return rows[:400]


@router.post("/parts/{key}/target")
def target(request: Request, key: str, value: Text) -> Response:
    build_edit.set_target(deps_of(request), "part", key, value)
    return go(at_part(key), saved=True)


@router.post("/parts/{key}/price")
def price(request: Request, key: str, price: Text, supplier: Text, on: Text = "") -> Response:
    """A price by hand: from a telephone call, a counter, a fair."""
    from service.flows import edit  # noqa: PLC0415 - only here
    from service.model.money import parse_money  # noqa: PLC0415 - only here

    edit.book_price(deps_of(request), key, parse_money(price), supplier, on=on or None)
    return go(at_part(key), saved=True)


@router.post("/kinds/{kind}/target")
async def kind_target(request: Request, kind: str) -> Response:
    """Tell me when any part that meets the requirement costs at most so much."""
    form = {k: v for k, v in (await request.form()).items() if isinstance(v, str) and v.strip()}
    need = {k: v for k, v in form.items() if k not in ("token", "value")}
    if len(need) > 12:
        raise InputError("that is too long a requirement")
    value = form.get("value", "")
    await run_in_threadpool(build_edit.set_need_target, deps_of(request), need, value)
    return go(f"/kinds/{quote(kind, safe='')}?{urlencode(need)}", saved=True)


@router.get("/kinds/{kind}")
def kinds(request: Request, kind: str) -> Response:
    """Parts of one kind; `?cells=4&capacity_mAh=3000..3600` asks for a requirement."""
    asked = request.query_params.items()
    need = {name: text for name, text in asked if text.strip() and name != "saved"}
    if len(need) > 12 or any(len(name) + len(text) > 200 for name, text in need.items()):
        raise InputError("that is too long a requirement")
    deps = deps_of(request)
    found = views.kinds(deps, kind, need)
    watched = targets.of_kind(deps, [row["part"] for row in found["parts"]])
    return page(request, "kind.html", {"found": found, "need": need, "targets": watched})
