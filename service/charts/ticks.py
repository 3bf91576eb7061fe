"""Where an axis has its ticks, for prices and for time. Pure."""

from __future__ import annotations

import math
from datetime import datetime, timedelta


def nice_ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values between `low` and `high`: steps of 1, 2 or 5 times a power of ten."""
    raw = (high - low) / max(about, 1)
    if raw <= 0:
        return [low]
    power = 10 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(n * step, 10) for n in range(first, last + 1)]


def tick_text(value: float, ticks: list[float]) -> str:
    """With as many decimals as the ticks need, all alike."""
    places = max((_places(tick) for tick in ticks), default=0)
    return f"{value:.{places}f}"


def _places(value: float) -> int:
    text = f"{value:.6f}".rstrip("0")
    return len(text.partition(".")[2])


def time_ticks(start: datetime, end: datetime, about: int = 9) -> list[tuple[datetime, str]]:
    """Starts of days, months or years within the span, with short labels."""
    span = end - start
    if span <= timedelta(days=40):
        return _thin([(day, f"{day.day} {day:%b}") for day in _days(start, end)], about)
    months = list(_months(start, end))
    if span <= timedelta(days=900):
        return _thin([(m, f"{m:%b}" if m.month > 1 else f"{m:%Y}") for m in months], about)
    return _thin([(m, f"{m:%Y}") for m in months if m.month == 1], about)


def _thin(found: list[tuple[datetime, str]], about: int) -> list[tuple[datetime, str]]:
    step = max(1, math.ceil(len(found) / max(about, 1)))
    return found[::step]


def _days(start: datetime, end: datetime) -> list[datetime]:
    first = start.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    return [first + timedelta(days=n) for n in range((end - first).days + 1)]


def _months(start: datetime, end: datetime) -> list[datetime]:
    month = start.replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    found = []
    while month <= end:
        if month >= start:
            found.append(month)
        month = (month + timedelta(days=32)).replace(day=1)
    return found
