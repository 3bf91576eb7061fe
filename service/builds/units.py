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
from service.builds.bodies import Bodies, bodies_needed, is_cut, own_bodies
from service.builds.cents import to_cents
from service.builds.offers import Market, Quote
from service.builds.row import Row
from service.builds.rows import by_listing

NONE = Fraction(0)


def distribute(rows: Sequence[Row], market: Market, currency: str) -> None:
    """Set what every row buys and spends, and what it would open if nothing were on hand."""
    for group in by_listing(rows).values():
        anew = _gross(group)
        gross = _opened(group, [row.need - row.included for row in group], anew)
        for row, opened in zip(group, gross, strict=True):
            row.opened, row.opened_in_all = opened, sum(gross, NONE)
        if _quote(group[0]).listing.is_set:
            _open_each_part(group, anew)
        plans = _plans(group, rows, market)
        bought = _opened(group, [row.to_buy for row in group], plans)
        for row, units in zip(group, bought, strict=True):
            row.buy = units
            if row.part and is_cut(row) and (plan := plans.get(row.part.key)) and plan.note:
                row.notes.append(plan.note)
            row.notes = list(dict.fromkeys(row.notes))
            if not units and row.to_buy > 0:
                row.notes.append(texts.SHARES_UNIT)
        _spend(group, currency)


def _open_each_part(group: Sequence[Row], plans: dict[str, Bodies]) -> None:
    """Each part of a set bears its share of the sets that it takes, whoever opened them."""
    for mine in _by_part(group).values():
        own = _opened(mine, [row.need - row.included for row in mine], plans)
        for row, opened in zip(mine, own, strict=True):
            row.opened = opened


def _gross(group: Sequence[Row]) -> dict[str, Bodies]:
    """What the cut lists would take if nothing were there."""
    return {
        key: bodies_needed(mine, _quote(mine[0]))
        for key, mine in _by_part([row for row in group if row.need > row.included]).items()
    }


def _plans(group: Sequence[Row], rows: Sequence[Row], market: Market) -> dict[str, Bodies]:
    """What the cut lists take beside what the user has, by part."""
    everywhere = _by_part(rows)
    return {
        key: bodies_needed(
            mine, _quote(mine[0]), own_bodies(everywhere[key], _quote(mine[0]), market), still=True
        )
        for key, mine in _by_part(group).items()
    }


def _by_part(rows: Sequence[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row.part is not None:
            found[row.part.key].append(row)
    return found


def _spend(group: Sequence[Row], currency: str) -> None:
    """Each row pays its units, rounded half up.

    Where a price holds for a number of units only (3 for 10.00), the sum is rounded
    once and the rows pay it in turn, so that 3.33, 3.34 and 3.33 make 10.00.
    """
    quote, total = _quote(group[0]), sum((row.buy for row in group), NONE)
    each = quote.cost(total) / total if total else NONE
    used, paid = NONE, to_cents(NONE, currency)
    for row in group:
        used += row.buy
        own = to_cents(each * row.buy, currency)
        row.spend = to_cents(each * used, currency) - paid if quote.listing.breaks else own
        paid += row.spend


def _opened(
    group: Sequence[Row], needs: Sequence[Fraction], plans: dict[str, Bodies]
) -> list[Fraction]:
    """The units that each row is the first to need. A set's parts share its units."""
    total = _units(group, needs, plans)
    opened, used, answer = NONE, defaultdict[str, Fraction](Fraction), []
    for row, need in zip(group, needs, strict=True):
        quote = _quote(row)
        used[quote.part.key] += need
        reach = min(total, quote.units(used[quote.part.key]))
        new = max(NONE, reach - opened) if need > 0 else NONE
        opened += new
        answer.append(new)
    return _give_rest(group, answer, needs, total - opened)


def _units(group: Sequence[Row], needs: Sequence[Fraction], plans: dict[str, Bodies]) -> Fraction:
    by_part: dict[str, Fraction] = defaultdict(Fraction)
    quotes: dict[str, Quote] = {}
    for row, need in zip(group, needs, strict=True):
        quote = _quote(row)
        by_part[quote.part.key] += need
        quotes[quote.part.key] = quote
    return max(
        max(quotes[key].units(need), plans[key].units if key in plans else NONE)
        for key, need in by_part.items()
    )


def _give_rest(
    group: Sequence[Row], answer: list[Fraction], needs: Sequence[Fraction], rest: Fraction
) -> list[Fraction]:
    """What cutting asks for beyond the plain amount goes to the last line that is cut."""
    if rest > 0:
        places = range(len(group))
        cut = [place for place in places if is_cut(group[place])]
        last = max(cut or [place for place in places if needs[place] > 0], default=0)
        answer[last] += rest
    return answer


def _quote(row: Row) -> Quote:
    if row.choice is None:
        raise ValueError("a row without a choice buys nothing")
    return row.choice.quote
