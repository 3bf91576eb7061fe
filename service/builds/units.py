"""How many units of sale a build buys, and which line pays each of them.

A unit is bought once for the whole build. It is paid by the first line, in the order
of the list, whose need opens it; later lines use what is left of it. So the lines add
up to the build, and each line reads `buy` x price.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction

from service.builds import texts
from service.builds.bodies import bodies_needed
from service.builds.cents import to_cents
from service.builds.offers import Market, Quote
from service.builds.rows import Row, by_listing
from service.model.builds import Cut


def distribute(rows: Sequence[Row], market: Market, currency: str) -> None:
    """Set what every row buys and spends, and what it would open if nothing were on hand."""
    for group in by_listing(rows).values():
        stock = market.stock(_quote(group[0]).part.key)
        gross = _opened(group, [row.need - row.included for row in group], ())
        bought = _opened(group, [row.to_buy for row in group], stock.offcuts if stock else ())
        for row, units, opened in zip(group, bought, gross, strict=True):
            row.buy, row.opened, row.opened_in_all = units, opened, sum(gross, Fraction(0))
            row.notes = list(dict.fromkeys(row.notes))
            if not units and row.to_buy > 0:
                row.notes.append(texts.SHARES_UNIT)
        _spend(group, currency)


def _spend(group: Sequence[Row], currency: str) -> None:
    """Each row pays its units, rounded half up.

    Where a price holds for a number of units only (3 for 10.00), the sum is rounded
    once and the rows pay it in turn, so that 3.33, 3.34 and 3.33 make 10.00.
    """
    quote, total = _quote(group[0]), sum((row.buy for row in group), Fraction(0))
    each = quote.cost(total) / total if total else Fraction(0)
    used, paid = Fraction(0), to_cents(Fraction(0), currency)
    for row in group:
        used += row.buy
        own = to_cents(each * row.buy, currency)
        row.spend = to_cents(each * used, currency) - paid if quote.listing.breaks else own
        paid += row.spend


def _opened(group: Sequence[Row], needs: Sequence[Fraction], own: Sequence[Cut]) -> list[Fraction]:
    """The units that each row is the first to need. A set's parts share its units."""
    total = _units(group, needs, own)
    opened, used, answer = Fraction(0), defaultdict[str, Fraction](Fraction), []
    for row, need in zip(group, needs, strict=True):
        quote = _quote(row)
        used[quote.part.key] += need
        reach = min(total, quote.units(used[quote.part.key]))
        new = max(Fraction(0), reach - opened) if need > 0 else Fraction(0)
        opened += new
        answer.append(new)
    return _give_rest(answer, needs, total - opened)


def _units(group: Sequence[Row], needs: Sequence[Fraction], own: Sequence[Cut]) -> Fraction:
    by_part: dict[str, Fraction] = defaultdict(Fraction)
    quotes: dict[str, Quote] = {}
    for row, need in zip(group, needs, strict=True):
        quote = _quote(row)
        by_part[quote.part.key] += need
        quotes[quote.part.key] = quote
    return max(
        max(quotes[key].units(need), _cut(group, needs, quotes[key], own))
        for key, need in by_part.items()
    )


def _cut(
    group: Sequence[Row], needs: Sequence[Fraction], quote: Quote, own: Sequence[Cut]
) -> Fraction:
    """The units that the cut lists of the part's lines take."""
    rows = [
        row
        for row, need in zip(group, needs, strict=True)
        if row.part and row.part.key == quote.part.key and need > 0
    ]
    found = bodies_needed([(row.line, row.amount) for row in rows], quote, own)
    if found.note:
        rows[-1].notes.append(found.note)
    return found.units


def _give_rest(answer: list[Fraction], needs: Sequence[Fraction], rest: Fraction) -> list[Fraction]:
    """What cutting asks for beyond the plain amount goes to the last line that needs some."""
    last = max((place for place, need in enumerate(needs) if need > 0), default=None)
    if last is not None and rest > 0:
        answer[last] += rest
    return answer


def _quote(row: Row) -> Quote:
    if row.choice is None:
        raise ValueError("a row without a choice buys nothing")
    return row.choice.quote
