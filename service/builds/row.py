"""One line of a build at work, between its parts list and its cost."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount
from service.builds import texts
from service.builds.choose import Choice
from service.builds.requirements import need_text
from service.model.builds import Line
from service.model.catalogue import Part


@dataclass(slots=True)
class Row:
    """One line at work. Amounts are in the part's base unit, `buy` in units of sale.

    `included`: what comes with something else that is bought; `taken`: what the build has
    already; `on_hand` and `coming`: what the line takes of the user's own.
    """

    line: Line
    amount: Amount
    part: Part | None = None
    need: Fraction = Fraction(0)
    taken: Fraction = Fraction(0)
    on_hand: Fraction = Fraction(0)
    coming: Fraction = Fraction(0)
    included: Fraction = Fraction(0)
    choice: Choice | None = None
    buy: Fraction = Fraction(0)
    spend: Decimal = Decimal(0)  # in the build's currency, rounded
    opened: Fraction = Fraction(0)  # units that this line is the first to use, stock aside
    opened_in_all: Fraction = Fraction(0)  # units that the build uses of the listing
    problem: str = ""
    place: int | None = None  # of the line in the build's own list
    notes: list[str] = field(default_factory=list)

    @property
    def owned(self) -> bool:
        return self.line.counts.kind == "owned"

    @property
    def to_buy(self) -> Fraction:
        """What is still to be bought for the line."""
        left = self.need - self.taken - self.on_hand - self.coming - self.included
        return Fraction(0) if self.owned else max(left, Fraction(0))

    @property
    def name(self) -> str:
        """The part's key, or what is asked for."""
        if self.part is not None:
            return self.part.key
        return self.line.part or texts.NEED.format(need=need_text(self.line.need))
