"""The price chart as SVG text: for print, mail, and pages whose scripts are off.

Styled by classes only (a strict content security policy has no inline style).
Text stays as large as the page's: draw one for each width that is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from xml.sax.saxutils import escape, quoteattr

from service.charts.model import Line, PriceChart, corners, stretches, value_range
from service.charts.ticks import nice_ticks, tick_text, time_ticks

LEFT, TOP, BOTTOM = 48, 14, 30
DIMENSION = 84  # room on the right for the distance to the target
ROOM = 18  # px between two lines in which two arrowheads have room
MONTH_WIDTH = 62  # px a time label takes at least


@dataclass(frozen=True, slots=True)
class _Plot:
    chart: PriceChart
    width: int
    height: int
    low: float
    high: float

    @property
    def right(self) -> float:
        return self.width - (DIMENSION if self.chart.target is not None else 12)

    @property
    def floor(self) -> float:
        return self.height - BOTTOM

    def x(self, at: datetime) -> float:
        span = (self.chart.end - self.chart.start).total_seconds()
        part = (at - self.chart.start).total_seconds() / span
        return LEFT + min(max(part, 0.0), 1.0) * (self.right - LEFT)

    def y(self, value: Decimal | float) -> float:
        part = (float(value) - self.low) / (self.high - self.low)
        return self.floor - part * (self.floor - TOP)


def price_svg(chart: PriceChart, width: int, height: int, css: str = "") -> str:
    """The whole `<svg>` element; `css` its class."""
    low, high = value_range(chart)
    plot = _Plot(chart, width, height, low, high)
    pieces = [
        f'<svg class={quoteattr(css)} viewBox="0 0 {width} {height}" role="img" ',
        f"aria-label={quoteattr(describe(chart))}>",
        *_bands(plot),
        *_grid(plot),
        *(_line(plot, line) for line in sorted(chart.lines, key=lambda x: x.kind == "main")),
        *_target(plot),
        *_now(plot),
        "</svg>",
    ]
    return "".join(pieces)


def describe(chart: PriceChart) -> str:
    """The chart in one sentence, for those who do not see it."""
    runs = chart.main.runs if chart.main else ()
    if not runs or chart.now is None:
        return f"{chart.title}: nothing seen yet"
    low, high = min(run.value for run in runs), max(run.value for run in runs)
    text = (
        f"{chart.title} from {chart.start:%d %b %Y} to {chart.end:%d %b %Y}: now"
        f" {chart.now.value} {chart.currency}, lowest {low}, highest {high}"
    )
    return text if chart.target is None else f"{text}, target {chart.target}"


def _bands(plot: _Plot) -> list[str]:
    found = []
    for band in plot.chart.bands:
        left, right = plot.x(band.start), plot.x(band.end)
        width = max(right - left, 2)
        found.append(
            f'<rect class="c-band" x="{left:.1f}" y="{TOP}" width="{width:.1f}"'
            f' height="{plot.floor - TOP:.1f}"/>'
        )
        if band.label and width > 7 * len(band.label):
            found.append(_text(left + 5, TOP + 15, band.label, "c-ink"))
    return found


def _grid(plot: _Plot) -> list[str]:
    ticks = nice_ticks(plot.low, plot.high, max(2, int((plot.floor - TOP) / 45)))
    found = []
    for tick in ticks:
        y = plot.y(tick)
        found.append(f'<path class="c-grid" d="M{LEFT} {y:.1f}H{plot.right:.1f}"/>')
        found.append(_text(LEFT - 9, y + 4.5, tick_text(tick, ticks), "", "end"))
    about = max(2, int((plot.right - LEFT) / MONTH_WIDTH))
    for at, label in time_ticks(plot.chart.start, plot.chart.end, about):
        if plot.x(at) < plot.right - 18:
            found.append(_text(plot.x(at), plot.height - 8, label))
    return found


def _line(plot: _Plot, line: Line) -> str:
    path = []
    for stretch in stretches(line.runs):
        points = list(corners(stretch))
        path.append(f"M{plot.x(points[0][0]):.1f} {plot.y(points[0][1]):.1f}")
        for at, value in points[1:]:
            path.append(f"H{plot.x(at):.1f}V{plot.y(value):.1f}")
    css = {"main": "c-line", "other": "c-other", "regular": "c-regular"}[line.kind]
    return f'<path class="{css}" d="{"".join(path)}"><title>{escape(line.name)}</title></path>'


def _target(plot: _Plot) -> list[str]:
    target, now = plot.chart.target, plot.chart.now
    if target is None:
        return []
    y = plot.y(target)
    found = [
        f'<path class="c-target" d="M{LEFT} {y:.1f}H{plot.right + 36:.1f}"/>',
        _text(plot.right + 4, _aim_label(plot, y), f"target {target}", "c-rust"),
    ]
    if now is not None and now.value != target:
        found += _dimension(plot, plot.y(now.value), y, abs(now.value - target))
    return found


def _aim_label(plot: _Plot, y: float) -> float:
    """Right of the plot, where no line runs; on the target's side away from the price of now."""
    now = plot.chart.now
    gap = None if now is None else plot.y(now.value) - y
    room = 32 if gap is not None and 0 < abs(gap) <= ROOM else 16  # arrows from outside
    above = gap is not None and gap > 0
    return min(max(y - room + 8 if above else y + room, TOP - 2), plot.height - 4)


def _dimension(plot: _Plot, now: float, target: float, distance: Decimal) -> list[str]:
    """The gap to the target as a dimension line with arrowheads (ISO 129-1)."""
    x = plot.right + 24
    top, foot = min(now, target), max(now, target)
    found = [f'<path class="c-dim" d="M{plot.right + 4:.1f} {now:.1f}H{x + 8:.1f}"/>']
    if foot - top > ROOM:
        found.append(f'<path class="c-dim" d="M{x:.1f} {top:.1f}V{foot:.1f}"/>')
        found.append(_arrow(x, top, 8))
        found.append(_arrow(x, foot, -8))
    else:  # too near for arrows between the lines: they point at them from outside
        found.append(f'<path class="c-dim" d="M{x:.1f} {top - 18:.1f}V{foot + 18:.1f}"/>')
        found.append(_arrow(x, top, -8))
        found.append(_arrow(x, foot, 8))
    found.append(_text(x + 9, (top + foot) / 2 + 5, str(distance), "c-bold"))
    return found


def _arrow(x: float, tip: float, length: float) -> str:
    y = tip + length
    return f'<path class="c-arrow" d="M{x:.1f} {tip:.1f}L{x - 3:.1f} {y:.1f}H{x + 3:.1f}Z"/>'


def _now(plot: _Plot) -> list[str]:
    now = plot.chart.now
    if now is None:
        return []
    x, y = plot.x(now.end), plot.y(now.value)
    return [f'<circle class="c-dot" cx="{x:.1f}" cy="{y:.1f}" r="4"/>']


def _text(x: float, y: float, text: str, css: str = "", anchor: str = "start") -> str:
    extra = f' class="{css}"' if css else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{extra}>{escape(text)}</text>'
