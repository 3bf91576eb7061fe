"""What a price chart shows, before anyone decides how it is drawn. Pure, frozen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

LineKind = Literal["main", "other", "regular"]


@dataclass(frozen=True, slots=True)
class Run:
    """A price that held from `start` to `end`; what nobody saw is not in any run."""

    start: datetime
    end: datetime
    value: Decimal


@dataclass(frozen=True, slots=True)
class Line:
    """One step line. Runs in time order, not overlapping."""

    name: str
    runs: tuple[Run, ...]
    kind: LineKind = "main"


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch that is marked, e.g. a sale."""

    start: datetime
    end: datetime
    label: str = ""


@dataclass(frozen=True, slots=True)
class PriceChart:
    """Lines over one span of time in one currency, with sales and the target."""

    start: datetime
    end: datetime
    currency: str
    lines: tuple[Line, ...]
    bands: tuple[Band, ...] = ()
    target: Decimal | None = None
    title: str = "Price"

    @property
    def main(self) -> Line | None:
        """The line that the sheet is about."""
        return next((line for line in self.lines if line.kind == "main" and line.runs), None)

    @property
    def now(self) -> Run | None:
        """The last thing seen on the main line."""
        return self.main.runs[-1] if self.main else None

    def worth_drawing(self) -> bool:
        """A chart of one point says nothing that a number does not."""
        seen = {(run.start, run.end) for line in self.lines for run in line.runs}
        return bool(seen) and self.end > self.start and any(end > start for start, end in seen)


def stretches(runs: Sequence[Run], bridge: timedelta = timedelta(0)) -> list[list[Run]]:
    """Runs that touch (or lie at most `bridge` apart) together; a gap starts a new stretch."""
    found: list[list[Run]] = []
    for run in runs:
        if found and run.start - found[-1][-1].end <= bridge:
            found[-1].append(run)
        else:
            found.append([run])
    return found


def corners(stretch: Sequence[Run]) -> Iterator[tuple[datetime, Decimal]]:
    """The points of a step line: every change, and where the stretch ends."""
    for run in stretch:
        yield run.start, run.value
    yield stretch[-1].end, stretch[-1].value


def clip(runs: Iterable[Run], start: datetime, end: datetime) -> tuple[Run, ...]:
    """The runs within a span, cut at its ends."""
    return tuple(
        Run(max(run.start, start), min(run.end, end), run.value)
        for run in runs
        if run.end >= start and run.start <= end
    )


def value_range(chart: PriceChart) -> tuple[float, float]:
    """Lowest and highest value with some air; the target is always in it."""
    values = [float(run.value) for line in chart.lines for run in line.runs]
    if chart.target is not None:
        values.append(float(chart.target))
    low, high = min(values, default=0.0), max(values, default=1.0)
    air = (high - low) * 0.12 or max(high * 0.1, 1.0)
    return max(0.0, low - air), high + air
