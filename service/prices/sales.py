"""Sales without look-ahead: the regular price at any time from what was known by then.

A fall below the regular price begins a sale. It ends when the regular price (or
more) is back; a price that stays below for `CAMPAIGN` has become the regular
one. A rise takes effect at once, so a price that was raised first shows in the
regular price, not in the prior price of the 30 days before the sale.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Literal, NamedTuple

from service.prices.track import MICROSECOND, Run

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

# Finland lets one continuous campaign run 60 days before the step-wise option ends;
# no published filter of sales takes longer falls for temporary ones.
CAMPAIGN = timedelta(days=60)

How = Literal["returned", "settled", "open"]


class Sale(NamedTuple):
    """One fall below the regular price. Times in microseconds; runs by their position.

    `how`: `returned` to the regular price, `settled` as the new regular price, or still
    `open`. `steps`: start and price of each fall to a new low of this sale.
    """

    regular: Decimal
    start: int
    end: int | None
    first_run: int
    after_run: int  # the first run that is not part of it
    how: How
    steps: tuple[tuple[int, Decimal], ...]

    @property
    def low(self) -> Decimal:
        """The lowest price of the sale."""
        return self.steps[-1][1]

    @property
    def depth(self) -> Decimal:
        """How far the lowest price is below the regular one, 0..1."""
        return 1 - self.low / self.regular


@dataclass(slots=True)
class _Walk:
    """The state of the filter while it walks along the runs."""

    regular: Decimal
    limit: int
    begun: int | None = None
    first: int = 0
    steps: list[tuple[int, Decimal]] = field(default_factory=list)
    sales: list[Sale] = field(default_factory=list)

    def settle(self, moment: int, price: Decimal, index: int) -> None:
        """`price`, in force up to `moment`, becomes regular when the limit has passed."""
        if self.begun is not None and moment - self.begun >= self.limit:
            self._close("settled", self.begun + self.limit, index)
            self.regular = price

    def step(self, run: Run, index: int) -> None:
        if run.price >= self.regular:
            if self.begun is not None:
                self._close("returned", run.start, index)
            self.regular = run.price
            return
        if self.begun is None:
            self.begun, self.first, self.steps = run.start, index, []
        if not self.steps or run.price < self.steps[-1][1]:
            self.steps.append((run.start, run.price))

    def _close(self, how: How, end: int | None, index: int) -> None:
        assert self.begun is not None  # noqa: S101 - tells the type checker; callers looked
        steps = tuple(self.steps)
        self.sales.append(Sale(self.regular, self.begun, end, self.first, index, how, steps))
        self.begun = None

    def finish(self, count: int) -> None:
        if self.begun is not None:
            self._close("open", None, count)


def find_sales(
    runs: Sequence[Run], *, at: int, campaign: timedelta = CAMPAIGN
) -> tuple[Decimal | None, list[Sale]]:
    """The regular price at `at` and all sales up to then, in time order. None: no runs."""
    if not runs:
        return None, []
    walk = _Walk(runs[0].price, campaign // MICROSECOND)
    for index, run in enumerate(runs):
        if walk.begun is not None:
            walk.settle(run.start, runs[index - 1].price, index)
        walk.step(run, index)
    walk.settle(at, runs[-1].price, len(runs))
    walk.finish(len(runs))
    return walk.regular, walk.sales
