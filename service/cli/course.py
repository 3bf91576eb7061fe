"""Prices over time for people: a chart in the terminal. Its library is loaded only here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from plotille import Figure

Row = Mapping[str, Any]
Point = tuple[datetime, float]
WIDE, HIGH = 60, 8
DAYS = timedelta(days=3)  # a chart of less shows hours
JOINED = timedelta(hours=48)  # a longer pause between two spells stays empty


def spell_chart(spells: Sequence[Row]) -> str:
    """The prices of one listing's spells (JSON objects, time order) as steps."""
    return draw(_stretches(spells), spells[-1]["currency"])


def _stretches(spells: Sequence[Row]) -> Iterator[list[Point]]:
    """Steps that hang together; a pause in which nobody looked parts two of them."""
    line: list[Point] = []
    for spell in spells:
        first, last = (datetime.fromisoformat(spell[name]) for name in ("first_seen", "last_seen"))
        price = float(Decimal(spell["price"]))  # a place on the screen, no amount
        if line and first - line[-1][0] > JOINED:
            yield line
            line = []
        if line:
            line.append((first, line[-1][1]))
        line += [(first, price), (last, price)]
    if line:
        yield line


def draw(lines: Iterator[list[Point]], currency: str) -> str:
    """Lines in one frame; nothing where all of them are at one point."""
    shown = list(lines)
    values = [value for line in shown for _, value in line]
    times = {moment for line in shown for moment, _ in line}
    if len(times) < 2:
        return ""
    low, high = min(values), max(values)
    margin = (high - low) / 10 or max(high / 10, 0.01)
    figure = Figure()
    figure.width, figure.height, figure.with_colors = WIDE, HIGH, False
    figure.x_label, figure.y_label = "UTC", currency
    figure.set_y_limits(max(low - margin, 0), high + margin)
    figure.register_label_formatter(datetime, _day)
    figure.register_label_formatter(float, _amount)
    for line in shown:
        figure.plot([moment for moment, _ in line], [value for _, value in line])
    return str(figure.show(legend=False))


def _day(value: datetime, chars: int, delta: object, left: bool = False) -> str:
    short = isinstance(delta, timedelta) and delta < DAYS
    text = f"{value:%d. %H:%M}" if short else f"{value:%Y-%m-%d}"
    return text.ljust(chars) if left else text.rjust(chars)


def _amount(value: float, chars: int, delta: object, left: bool = False) -> str:
    del delta
    text = f"{value:.2f}"
    return text.ljust(chars) if left else text.rjust(chars)
