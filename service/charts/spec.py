"""The price chart as a Vega-Lite specification: a dict, nothing else.

Colours stand as `@ink`, `@band`...; `paint` puts a palette in, so that the same
specification is drawn on paper, on a blueprint, and in print.
Grammar: Vega-Lite 6 (vega.github.io/vega-lite).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

from service.charts.model import Line, PriceChart, corners, stretches, value_range
from service.charts.svg import describe
from service.charts.ticks import time_ticks

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
LIGHT = {
    "ink": "#1d2b33",
    "soft": "#5d6b72",
    "line": "#b9c2c2",
    "hair": "#dfe2de",
    "accent": "#b5431c",
    "band": "#f3d9c8",
    "other": "#7d8a90",
    "sheet": "#fdfcf9",
}
FONT = "Sheet, Barlow Semi Condensed, Roboto Condensed, Arial Narrow, sans-serif"


def price_spec(chart: PriceChart, height: int = 290) -> dict[str, Any]:
    """All layers: sales, grid, lines, target with its dimension line, cursor."""
    low, high = value_range(chart)
    return {
        "$schema": SCHEMA,
        "description": describe(chart),
        "width": "container",
        "height": height,
        "padding": {"left": 4, "top": 8, "bottom": 2, "right": 8},
        "background": None,
        "params": [
            {"name": "cursor", "value": 0},
            {"name": "aim", "value": _number(chart.target) or 0},
        ],
        "config": _config(),
        "layer": [
            *_bands(chart),
            *_lines(chart, (low, high)),
            *_target(chart),
            *_now(chart),
            _cursor(),
        ],
    }


def paint(spec: Any, palette: Mapping[str, str] = LIGHT) -> Any:
    """The same with real colours for `@names`."""
    if isinstance(spec, dict):
        return {key: paint(value, palette) for key, value in spec.items()}
    if isinstance(spec, list):
        return [paint(value, palette) for value in spec]
    if isinstance(spec, str) and spec.startswith("@"):
        return palette[spec[1:]]
    return spec


def rows(chart: PriceChart) -> Iterator[dict[str, Any]]:
    """The points of all lines; a `stretch` is joined up, between two is a gap."""
    for number, line in enumerate(chart.lines):
        for index, stretch in enumerate(stretches(line.runs)):
            for at, value in corners(stretch):
                yield {
                    "t": stamp(at),
                    "v": float(value),
                    "line": line.name,
                    "kind": line.kind,
                    "stretch": f"{number}.{index}",
                }


def stamp(at: datetime) -> int:
    """Milliseconds since 1970, as the drawing library counts."""
    return int(at.timestamp() * 1000)


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _config() -> dict[str, Any]:
    text = {"labelFont": FONT, "labelFontSize": 13, "labelColor": "@soft"}
    return {
        "view": {"stroke": None},
        "font": FONT,
        "axis": {**text, "domain": False, "ticks": False, "title": None},
        "axisX": {"grid": False, "labelPadding": 10, "labelAlign": "left"},
        "axisY": {"gridColor": "@hair", "labelPadding": 8, "tickCount": 5, "minExtent": 40},
        "text": {"font": FONT, "fontSize": 13},
    }


def _x(chart: PriceChart, *, leads: bool = False) -> dict[str, Any]:
    """Time as milliseconds. One layer leads: how far the axis goes, how its labels read.

    A temporal field will not do: with a bound selection its given domain is lost.
    """
    if not leads:
        return {"field": "t", "type": "quantitative"}
    domain = [stamp(chart.start), stamp(chart.end)]
    ticks = time_ticks(chart.start, chart.end, 10)
    return {
        "field": "t",
        "type": "quantitative",
        "scale": {"domain": domain, "nice": False, "zero": False},
        "axis": {"values": [stamp(at) for at, _ in ticks], "labelExpr": _label(chart)},
    }


def _label(chart: PriceChart) -> str:
    """Days in a short span, months in a longer one, the year where it begins."""
    if chart.end - chart.start <= timedelta(days=40):
        return "utcFormat(datum.value, '%-d %b')"
    return "utcFormat(datum.value, utcmonth(datum.value) ? '%b' : '%Y')"


def _bands(chart: PriceChart) -> list[dict[str, Any]]:
    if not chart.bands:
        return []
    values = [{"t": stamp(b.start), "u": stamp(b.end), "label": b.label} for b in chart.bands]
    mark = {"type": "rect", "color": "@band", "opacity": 0.65, "clip": True}
    place = {"x": _x(chart), "x2": {"field": "u"}}
    return [{"data": {"values": values}, "mark": mark, "encoding": place}]


_STYLE: dict[str, dict[str, Any]] = {
    "main": {"stroke": "@ink", "strokeWidth": 2},
    "other": {"stroke": "@other", "strokeWidth": 1.4},
    "regular": {"stroke": "@soft", "strokeWidth": 1.3, "strokeDash": [6, 4]},
}


def _lines(chart: PriceChart, span: tuple[float, float]) -> list[dict[str, Any]]:
    kinds = [k for k in ("other", "regular", "main") if _of_kind(chart, k)]
    return [_layer(chart, kind, span) for kind in kinds]


def _of_kind(chart: PriceChart, kind: str) -> list[Line]:
    return [line for line in chart.lines if line.kind == kind and line.runs]


def _layer(chart: PriceChart, kind: str, span: tuple[float, float]) -> dict[str, Any]:
    leads = kind == "main"
    y: dict[str, Any] = {"field": "v", "type": "quantitative"}
    if leads:
        y["scale"] = {"domain": list(span), "nice": False, "zero": False}
    layer: dict[str, Any] = {
        "data": {"values": [row for row in rows(chart) if row["kind"] == kind]},
        "mark": {"type": "line", "interpolate": "step-after", "clip": True, **_STYLE[kind]},
        "encoding": {"x": _x(chart, leads=leads), "y": y, "detail": {"field": "stretch"}},
    }
    if leads:
        layer["params"] = [{"name": "span", "select": _zoom(), "bind": "scales"}]
    return layer


def _zoom() -> dict[str, Any]:
    """With the shift key only: the page must scroll under the pointer."""
    return {
        "type": "interval",
        "encodings": ["x"],
        "zoom": "wheel![event.shiftKey]",
        "translate": "[pointerdown[event.shiftKey], window:pointerup] > window:pointermove!",
    }


def _at(expression: str) -> dict[str, Any]:
    """A place on the page that is reckoned while drawing."""
    return {"value": {"expr": expression}}


Y_AIM = "scale('y', aim)"


def _target(chart: PriceChart) -> list[dict[str, Any]]:
    if chart.target is None:
        return []
    line = {"type": "rule", "color": "@accent", "strokeDash": [2, 4], "strokeWidth": 1.6}
    label: dict[str, Any] = {
        "type": "text",
        "align": "left",
        "baseline": "middle",
        "color": "@accent",
    }
    label["text"] = {"expr": "'target ' + format(aim, '.2f')"}
    beside = {"x": _at("width + 4"), "y": _at(_aim_label(chart))}
    across = {"x": {"value": 0}, "x2": _at("width + 38"), "y": _at(Y_AIM)}
    layers = [_one(line, across), _one(label, beside)]
    return layers + (_dimension(float(chart.now.value)) if chart.now else [])


def _aim_label(chart: PriceChart) -> str:
    """Right of the plot, on the target's side away from the price of now (see `svg`)."""
    if chart.now is None:
        return f"{Y_AIM} + 12"
    gap = f"(scale('y', {float(chart.now.value)}) - {Y_AIM})"
    return f"{Y_AIM} + ({gap} > 0 ? -1 : 1) * ({gap} != 0 && abs{gap} <= 18 ? 28 : 12)"


def _dimension(now: float) -> list[dict[str, Any]]:
    """The distance from now to the target, as a drawing would give it (ISO 129-1)."""
    here, x = f"scale('y', {now})", _at("width + 24")
    inward = f"(aim < {now} ? 4 : -4)"
    ink: dict[str, Any] = {"color": "@ink", "opacity": 1}
    rule = {**ink, "type": "rule", "strokeWidth": 1}
    head = {**ink, "type": "point", "filled": True, "size": 46}
    tip_now = {"expr": f"aim < {now} ? 'triangle-up' : 'triangle-down'"}
    tip_aim = {"expr": f"aim < {now} ? 'triangle-down' : 'triangle-up'"}
    text = {**ink, "type": "text", "align": "left", "fontSize": 14, "fontWeight": 600}
    text["text"] = {"expr": f"format(abs({now} - aim), '.2f')"}
    return [
        _one(rule, {"x": _at("width + 4"), "x2": _at("width + 32"), "y": _at(here)}),
        _one(rule, {"x": x, "y": _at(here), "y2": _at(Y_AIM)}),
        _one({**head, "shape": tip_now}, {"x": x, "y": _at(f"{here} + {inward}")}),
        _one({**head, "shape": tip_aim}, {"x": x, "y": _at(f"{Y_AIM} - {inward}")}),
        _one(text, {"x": _at("width + 33"), "y": _at(f"({here} + {Y_AIM}) / 2")}),
    ]


def _one(mark: dict[str, Any], places: dict[str, Any]) -> dict[str, Any]:
    """A single mark at reckoned places, also outside the axes (zooming would clip it)."""
    return {"data": {"values": [{}]}, "mark": {"clip": False, **mark}, "encoding": places}


def _now(chart: PriceChart) -> list[dict[str, Any]]:
    if chart.now is None:
        return []
    value = {"t": stamp(chart.now.end), "v": float(chart.now.value)}
    mark = {"type": "point", "filled": True, "size": 60, "color": "@accent", "opacity": 1}
    mark["clip"] = False
    y = {"field": "v", "type": "quantitative"}
    return [{"data": {"values": [value]}, "mark": mark, "encoding": {"x": _x(chart), "y": y}}]


def _cursor() -> dict[str, Any]:
    mark = {"type": "rule", "color": "@ink", "strokeWidth": 1, "clip": True}
    mark["opacity"] = {"expr": "cursor ? 0.6 : 0"}
    places = {"x": _at("scale('x', cursor)"), "y": {"value": 0}, "y2": _at("height")}
    return _one(mark, places)
