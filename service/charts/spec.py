"""The price chart as a Vega-Lite specification: a dict, nothing else.

Colours stand as `@ink`, `@band`...; `paint` puts a palette in, so that the same
specification is drawn on paper, on a blueprint, and in print.
Grammar: Vega-Lite 6 (vega.github.io/vega-lite).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from service.charts.model import Line, PriceChart, corners, stretches, value_range
from service.charts.svg import describe

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
        "padding": {"left": 4, "top": 8, "bottom": 2, "right": 62 if _aimed(chart) else 10},
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


def _aimed(chart: PriceChart) -> bool:
    return chart.target is not None


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _config() -> dict[str, Any]:
    text = {"labelFont": FONT, "labelFontSize": 13, "labelColor": "@soft"}
    return {
        "view": {"stroke": None},
        "font": FONT,
        "axis": {**text, "domain": False, "ticks": False, "title": None},
        "axisX": {"grid": False, "labelPadding": 10, "labelAlign": "left", "tickCount": 8},
        "axisY": {"gridColor": "@hair", "labelPadding": 8, "tickCount": 5, "minExtent": 40},
        "text": {"font": FONT, "fontSize": 13},
    }


def _x(chart: PriceChart) -> dict[str, Any]:
    domain = [stamp(chart.start), stamp(chart.end)]
    return {"field": "t", "type": "temporal", "scale": {"domain": domain, "nice": False}}


def _bands(chart: PriceChart) -> list[dict[str, Any]]:
    if not chart.bands:
        return []
    values = [{"t": stamp(b.start), "u": stamp(b.end), "label": b.label} for b in chart.bands]
    place = {"x": _x(chart), "x2": {"field": "u"}}
    return [
        {
            "data": {"values": values},
            "mark": {"type": "rect", "color": "@band", "clip": True},
            "encoding": place,
        }
    ]


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
    layer: dict[str, Any] = {
        "data": {"values": [row for row in rows(chart) if row["kind"] == kind]},
        "mark": {"type": "line", "interpolate": "step-after", "clip": True, **_STYLE[kind]},
        "encoding": {
            "x": _x(chart),
            "y": {
                "field": "v",
                "type": "quantitative",
                "scale": {"domain": list(span), "nice": False, "zero": False},
            },
            "detail": {"field": "stretch"},
        },
    }
    if kind == "main":
        shift = {"type": "interval", "encodings": ["x"]}
        drag = "[pointerdown[event.shiftKey], window:pointerup] > window:pointermove!"
        shift |= {"zoom": "wheel![event.shiftKey]", "translate": drag}
        layer["params"] = [{"name": "span", "select": shift, "bind": "scales"}]
    return layer


def _target(chart: PriceChart) -> list[dict[str, Any]]:
    if chart.target is None:
        return []
    level = {"y": {"datum": {"expr": "aim"}, "type": "quantitative"}}
    line = {"type": "rule", "color": "@accent", "strokeDash": [2, 4], "strokeWidth": 1.6}
    label = {"type": "text", "align": "left", "dx": 6, "dy": 12, "color": "@accent"}
    layers: list[dict[str, Any]] = [
        {"data": {"values": [{}]}, "mark": {**line, "x2Offset": 40}, "encoding": level},
        {
            "data": {"values": [{}]},
            "mark": {**label, "x": 0, "text": {"expr": "'target ' + format(aim, '.2f')"}},
            "encoding": level,
        },
    ]
    return layers + (_dimension(float(chart.now.value)) if chart.now else [])


def _dimension(now: float) -> list[dict[str, Any]]:
    """The distance from now to the target, as a drawing would give it (ISO 129-1)."""
    outside: dict[str, Any] = {"x": {"expr": "width + 26"}, "color": "@ink"}
    at_now = {"y": {"datum": now, "type": "quantitative"}}
    at_aim = {"y": {"datum": {"expr": "aim"}, "type": "quantitative"}}
    between = {**at_now, "y2": {"datum": {"expr": "aim"}}}
    down = f"aim < {now}"
    head = {**outside, "type": "point", "filled": True, "size": 46, "opacity": 1}
    up_shape, down_shape = "triangle-up", "triangle-down"
    words = {"expr": f"format(abs({now} - aim), '.2f')"}
    middle = {"y": {"datum": {"expr": f"({now} + aim) / 2"}, "type": "quantitative"}}
    text = {"type": "text", "align": "left", "fontSize": 14, "fontWeight": 600, "color": "@ink"}
    return [
        _one({**outside, "type": "rule"}, between),
        _one(
            {**head, "shape": {"expr": f"{down} ? '{up_shape}' : '{down_shape}'"}, "yOffset": 3},
            at_now,
        ),
        _one(
            {**head, "shape": {"expr": f"{down} ? '{down_shape}' : '{up_shape}'"}, "yOffset": -3},
            at_aim,
        ),
        _one({**text, "x": {"expr": "width + 34"}, "text": words}, middle),
    ]


def _one(mark: dict[str, Any], encoding: dict[str, Any]) -> dict[str, Any]:
    return {"data": {"values": [{}]}, "mark": mark, "encoding": encoding}


def _now(chart: PriceChart) -> list[dict[str, Any]]:
    if chart.now is None:
        return []
    value = {"t": stamp(chart.now.end), "v": float(chart.now.value)}
    mark = {"type": "point", "filled": True, "size": 60, "color": "@accent", "opacity": 1}
    y = {"field": "v", "type": "quantitative"}
    return [{"data": {"values": [value]}, "mark": mark, "encoding": {"x": _x(chart), "y": y}}]


def _cursor() -> dict[str, Any]:
    mark = {"type": "rule", "color": "@ink", "strokeWidth": 1, "clip": True}
    mark["opacity"] = {"expr": "cursor ? 0.6 : 0"}
    x = {"datum": {"expr": "cursor"}, "type": "temporal"}
    return _one(mark, {"x": x})
