"""Builds: the list, the sheet with its parts list, versions, publishing, changes."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from markupsafe import Markup
from starlette.responses import Response

from service.charts.model import Line, PriceChart, Run
from service.charts.spec import price_spec
from service.charts.svg import price_svg
from service.flows import build_edit, views
from service.web import publish
from service.web.pages.common import Text, at_build, deps_of, go
from service.web.render import page

router = APIRouter(include_in_schema=False)
At = Annotated[str | None, Query(max_length=40)]


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
def build(request: Request, key: str, at: At = None) -> Response:
    deps = deps_of(request)
    sheet = views.build_sheet(deps, key, at)
    chart = cost_chart(views.build_series(deps, key), sheet.get("budget"))
    values = {"sheet": sheet, "asked": at, "parts": views.part_names(deps), **drawn(chart)}
    return page(request, "build.html", values)


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
def change_line(  # noqa: PLR0913, PLR0917 - the fields of the form
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


@router.post("/builds/{key}/paste")
def paste(
    request: Request, key: str, table: Annotated[str, Form(max_length=200_000)], act: Text = "look"
) -> Response:
    """Rows from a spreadsheet: first shown as they are understood, then added."""
    deps = deps_of(request)
    rows = build_edit.read_rows(deps, table)
    if act == "add":
        build_edit.add_rows(deps, key, rows)
        return go(at_build(key), saved=True)
    return page(request, "paste.html", {"rows": rows, "table": table, "key": key})


@router.get("/builds/{key}/publish")
def publishing(
    request: Request, key: str, columns: Annotated[list[str] | None, Query()] = None
) -> Response:
    deps = deps_of(request)
    chosen = publish.choose(columns)
    sheet = views.build_sheet(deps, key)
    values = {
        "sheet": sheet,
        "columns": publish.COLUMNS,
        "chosen": chosen,
        "markdown": publish.markdown(sheet, chosen),
        "bbcode": publish.bbcode(sheet, chosen),
        "table": publish.table(sheet, chosen),
    }
    return page(request, "publish.html", values)


@router.get("/builds/{key}/cost.csv")
def as_csv(
    request: Request, key: str, columns: Annotated[list[str] | None, Query()] = None
) -> Response:
    sheet = views.build_sheet(deps_of(request), key)
    text = publish.csv_text(sheet, publish.choose(columns))
    name = "".join(c if c.isalnum() else "-" for c in key)[:60] or "build"
    headers = {"Content-Disposition": f'attachment; filename="{name}-cost.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


@router.post("/builds/{key}/target")
def target(request: Request, key: str, value: Text) -> Response:
    build_edit.set_target(deps_of(request), "build", key, value)
    return go(at_build(key), saved=True)


def cost_chart(series: dict[str, Any], budget: str | None) -> PriceChart | None:
    """The build's cost as a step line; None where it says nothing yet."""
    points = series["points"]
    if len({p["share"] for p in points}) < 2 or len(points) < 3:  # noqa: PLR2004 - no line yet
        return None
    times = [datetime.fromisoformat(p["at"]) for p in points]
    values = [Decimal(p["share"]) for p in points]
    runs = [
        Run(a, b, v) for a, b, v in zip(times, [*times[1:], times[-1]], values, strict=True)
    ]
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
