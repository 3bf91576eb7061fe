"""Builds: the list, the sheet with its parts list, versions, publishing, changes."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Query, Request, UploadFile
from markupsafe import Markup
from starlette.responses import Response

from service.charts.model import Line, PriceChart, Run
from service.charts.spec import price_spec
from service.charts.svg import price_svg
from service.errors import InputError
from service.exchange.breakdown import Options, render
from service.exchange.figures import COSTS, for_people
from service.exchange.parts_list import PartsList, into_build, parse_parts_list
from service.exchange.texts import LABELS
from service.flows import build_edit, edit, targets, views
from service.flows.index import index
from service.flows.ports import Deps
from service.flows.publish import Published, published, read_wish
from service.web.held import Held
from service.web.pages.common import Text, at_build, deps_of, go
from service.web.render import page

router = APIRouter(include_in_schema=False)
At = Annotated[str | None, Query(max_length=40)]
Choice = Annotated[str, Query(max_length=20)]
Columns = Annotated[list[str] | None, Query()]
ROWS: Held[PartsList] = Held("these rows were looked at too long ago: paste them again")
HEADS = frozenset(
    {
        *("part", "item", "name", "description", "amount", "qty", "quantity"),
        *("teil", "bauteil", "artikel", "bezeichnung", "menge", "anzahl", "stück", "stueck"),
    }
)
FORMS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "md": "text/markdown; charset=utf-8",
    "bbcode": "text/plain; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
}


@router.get("/builds")
def builds(request: Request) -> Response:
    return page(request, "builds.html", {"today": views.today(deps_of(request))})


@router.post("/builds")
def new_build(
    request: Request, name: Text, currency: Text = "", budget: Text = "", need_by: Text = ""
) -> Response:
    key = build_edit.new_build(deps_of(request), name, currency, budget, need_by)
    return go(at_build(key))


@router.get("/builds/{key}")
def build(
    request: Request,
    key: str,
    at: At = None,
    rule: Choice = "cheapest",
    currency: Choice = "",
    country: Choice = "",
) -> Response:
    """The sheet, also of another day, by another rule, in another currency, for another country."""
    deps, wish = deps_of(request), read_wish(at, rule, currency, country)
    sheet = views.build_sheet(deps, key, wish)
    chart = cost_chart(views.build_series(deps, key), sheet.get("budget"))
    values = {
        "sheet": sheet,
        "asked": at,
        "wish": {"rule": rule, "currency": currency, "country": country},
        "parts": views.part_names(deps),
        "moved": None if at else _moved(deps, key, len(sheet["lines"])),
        "targets": [t for t in targets.rows(deps) if (t["kind"], t["subject"]) == ("build", key)],
        **drawn(chart),
    }
    return page(request, "build.html", values)


def _moved(deps: Deps, key: str, lines: int) -> str | None:
    """How the cost moved within a year, and what moved it; None: nothing to say yet."""
    if not lines:
        return None
    found = index(deps, key)
    told = bool(found["points"]) and found["then"] != "0.00" and bool(found["contributions"])
    return found["words"] if told and found["from"][:10] != found["to"][:10] else None


@router.get("/builds/{key}/versions")
def versions(request: Request, key: str) -> Response:
    return page(request, "versions.html", {"found": views.versions(deps_of(request), key)})


@router.post("/builds/{key}/versions")
def new_version(request: Request, key: str, name: Text, old: Text, new: Text) -> Response:
    made = build_edit.new_version(deps_of(request), key, name, old, new)
    return go(at_build(made) + "/versions")


@router.post("/builds/{key}")
def change_build(
    request: Request, key: str, name: Text, budget: Text = "", need_by: Text = ""
) -> Response:
    build_edit.change_build(deps_of(request), key, name, budget, need_by)
    return go(at_build(key), saved=True)


@router.post("/builds/{key}/lines")
def add_line(
    request: Request, key: str, part: Text, amount: Text, group: Text = "other"
) -> Response:
    build_edit.add_line(deps_of(request), key, part, amount, group)
    return go(at_build(key), saved=True)


@router.post("/builds/{key}/lines/{number}")
def change_line(
    request: Request,
    key: str,
    number: int,
    act: Text,
    amount: Text = "",
    group: Text = "",
    counts: Text = "",
) -> Response:
    build_edit.change_line(deps_of(request), key, number, act, amount, group, counts)
    return go(at_build(key), saved=True)


@router.post("/builds/{key}/rows")
def look_at_rows(
    request: Request,
    key: str,
    table: Annotated[str, Form(max_length=1_000_000)] = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """A parts list, pasted or as a file: shown as it is understood, nothing kept yet."""
    deps = deps_of(request)
    named = file is not None and bool(file.filename)
    data = file.file.read() if file is not None and named else with_head(table).encode()
    name = (file.filename or "file")[:100] if file is not None and named else "pasted rows"
    found = parse_parts_list(data, name, edit.known_book(deps))
    values = {"found": found.as_json(), "held": ROWS.put(found), "key": key}
    return page(request, "paste.html", values)


@router.post("/builds/{key}/rows/{held}")
def keep_rows(request: Request, key: str, held: str) -> Response:
    deps = deps_of(request)
    book = into_build(ROWS.get(held), key, edit.known_book(deps), deps.currency)
    edit.load_book(deps, book)
    return go(at_build(key), saved=True)


@router.get("/builds/{key}/publish")
def publishing(
    request: Request,
    key: str,
    columns: Columns = None,
    suppliers: bool = False,
    notes: bool = False,
    currency: Choice = "",
    country: Choice = "",
) -> Response:
    """The breakdown as others will see it; the form says which columns, and whether shops show."""
    deps = deps_of(request)
    found = published(deps, key, read_wish(None, "cheapest", currency, country))
    options = _options(found, columns, suppliers=suppliers, notes=notes)
    answer = found.answer
    sheet = for_people(answer, options)
    values = {
        "sheet": sheet,
        "key": key,
        "priced": answer["at"],
        "costs": COSTS,
        "LABELS": LABELS,
        "chosen": options.columns or ("share", "to_spend"),
        "suppliers": suppliers,
        "notes": notes,
        "wish": {"currency": currency, "country": country},
        "markdown": render(answer, "md", options).decode(),
        "bbcode": render(answer, "bbcode", options).decode(),
    }
    return page(request, "publish.html", values)


@router.get("/builds/{key}/cost.{form}")
def cost_file(
    request: Request,
    key: str,
    form: str,
    columns: Columns = None,
    suppliers: bool = False,
    notes: bool = False,
    currency: Choice = "",
    country: Choice = "",
) -> Response:
    """The same as a file: csv, xlsx, md, bbcode, svg, png."""
    if form not in FORMS:
        raise InputError(f"no form {form!r}; choose from {', '.join(FORMS)}")
    deps = deps_of(request)
    found = published(deps, key, read_wish(None, "cheapest", currency, country))
    options = _options(found, columns, suppliers=suppliers, notes=notes)
    body = render(found.answer, form, options)
    name = "".join(c if c.isascii() and c.isalnum() else "-" for c in key)[:60] or "build"
    headers = {"Content-Disposition": f'attachment; filename="{name}-cost.{form}"'}
    return Response(body, media_type=FORMS[form], headers=headers)


def _options(
    found: Published, columns: list[str] | None, *, suppliers: bool, notes: bool
) -> Options:
    chosen = tuple(c for c in COSTS if c in (columns or ())) or ("share", "to_spend")
    return Options(
        columns=chosen,
        suppliers=suppliers,
        notes=notes,
        names=found.names,
        on_sale=found.on_sale,
    )


def with_head(table: str) -> str:
    """Pasted rows often lack the row that names the columns: part, amount, group."""
    first = table.strip().partition("\n")[0]
    mark = next((m for m in ("\t", ";", ",") if m in first), ",")
    words = {cell.strip().casefold() for cell in first.split(mark)}
    if words & HEADS:
        return table
    count = min(len(first.split(mark)), 4)
    return mark.join(("part", "amount", "group", "note")[:count]) + "\n" + table.strip()


@router.post("/builds/{key}/dismiss")
def dismiss(request: Request, key: str, rule: Text) -> Response:
    build_edit.dismiss(deps_of(request), key, rule)
    return go(at_build(key), saved=True)


@router.post("/builds/{key}/companions")
def companion(
    request: Request, key: str, part: Text, amount: Text, group: Text = "other"
) -> Response:
    """Add what the build lacks."""
    build_edit.add_companion(deps_of(request), key, part, amount, group)
    return go(at_build(key), saved=True)


@router.post("/builds/{key}/target")
def target(request: Request, key: str, value: Text) -> Response:
    build_edit.set_target(deps_of(request), "build", key, value)
    return go(at_build(key), saved=True)


def cost_chart(series: dict[str, Any], budget: str | None) -> PriceChart | None:
    """The build's cost as a step line; None where it says nothing yet."""
    points = series["points"]
    if len({p["share"] for p in points}) < 2 or len(points) < 3:
        return None
    times = [datetime.fromisoformat(p["at"]) for p in points]
    values = [Decimal(p["share"]) for p in points]
    runs = [Run(a, b, v) for a, b, v in zip(times, [*times[1:], times[-1]], values, strict=True)]
    near = budget is not None and Decimal(budget) <= max(values) * Decimal("1.4")
    limit = Decimal(budget) if budget is not None and near else None
    line = Line("in this model", tuple(runs))
    return PriceChart(times[0], times[-1], series["currency"], (line,), (), limit, "Cost")


def drawn(chart: PriceChart | None, height: int = 200) -> dict[str, Any]:
    """A chart as the templates want it: still for everybody, live where scripts run."""
    if chart is None or not chart.worth_drawing():
        return {"still": None, "spec": None}
    wide = price_svg(chart, 834, height, "wide")
    narrow = price_svg(chart, 334, height, "narrow")
    still = Markup(wide + narrow)  # noqa: S704 - every text in it went through escape()
    return {"still": still, "spec": price_spec(chart, height - 40)}
