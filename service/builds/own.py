"""What a build can draw on before it buys: what it has taken, what is on hand, what is coming."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction

from service.builds.offcuts import usable
from service.builds.offers import Market
from service.model.builds import Line
from service.model.catalogue import Part

NONE = Fraction(0)


@dataclass(frozen=True, slots=True)
class Portion:
    """Base units for one line: in the build already, from hand, on its way."""

    taken: Fraction = NONE
    on_hand: Fraction = NONE
    coming: Fraction = NONE

    @property
    def whole(self) -> Fraction:
        return self.taken + self.on_hand + self.coming


class Own:
    """The user's own, as the lines of one build use it up in the order of the list."""

    def __init__(self, build: str, market: Market) -> None:
        self._market = market
        self._taken: dict[str, Fraction] = defaultdict(Fraction)
        self._used: dict[str, Fraction] = defaultdict(Fraction)
        self._called: dict[str, Fraction] = defaultdict(Fraction)
        for holding in (market.view.holdings or {}).get(build, ()) if build else ():
            self._taken[holding.purchase.part] += holding.amount

    def portion(self, part: Part, line: Line, need: Fraction) -> Portion:
        """What is there of `need` for the line; nothing is used up yet."""
        taken = min(need, self._taken.get(part.key, NONE))
        stock = self._market.stock(part.key)
        if stock is None:
            return Portion(taken)
        free = usable(stock, line) - self._used.get(part.key, NONE)
        on_hand = max(NONE, min(need - taken, free))
        coming = Fraction(stock.coming) - self._called.get(part.key, NONE)
        return Portion(taken, on_hand, min(need - taken - on_hand, coming))

    def use(self, part: Part, portion: Portion) -> None:
        """The line has it: later lines find so much less."""
        self._taken[part.key] -= portion.taken
        self._used[part.key] += portion.on_hand
        self._called[part.key] += portion.coming
