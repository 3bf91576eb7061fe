"""What is on hand, on its way, running low and old, what builds took, and all the money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from scrapers import Amount, format_amount
from service.builds.amounts import shown_amount, shown_in
from service.builds.cents import number_text, to_cents
from service.builds.heap import Heap
from service.builds.ledger import shown
from service.builds.shelf import aged, running_low
from service.builds.workshop import Books
from service.flows.books import books_at, day_of
from service.flows.names import moment
from service.flows.ports import Deps
from service.model.builds import Cut
from service.model.catalogue import Part
from service.model.money import money_text


def stock(deps: Deps, at: str | None = None) -> dict[str, Any]:
    """What is on hand, on its way, running low and old, what builds took, and all the money."""
    when = moment(at, deps)
    with deps.store.read() as unit:
        parts = unit.catalogue.parts()
        found = books_at(unit, deps, day_of(when, deps))
    old = aged(parts.values(), found.statement, found.day, found.good)
    return {
        "at": found.day.isoformat(),
        "currency": found.currency,
        "on_hand": _heaps(found.statement.hand, parts, found, old),
        "coming": _heaps(found.statement.coming, parts, found, {}),
        "low": _low(found, parts),
        "builds": _builds(found),
        "money": _money(found),
        "warnings": [*found.statement.warnings, *found.unrated],
    }


def wishes(deps: Deps) -> dict[str, Amount]:
    """What runs low, by part: how much to order so that the least amount is there again."""
    with deps.store.read() as unit:
        parts = unit.catalogue.parts()
        found = books_at(unit, deps, day_of(deps.clock(), deps))
    low = running_low(parts.values(), found.statement, found.day, found.good)
    return {key: shown_amount(lack, parts[key]) for key, lack in low.items()}


def _heaps(
    heaps: Mapping[str, Heap],
    parts: Mapping[str, Part],
    found: Books,
    old: Mapping[str, Fraction],
) -> list[dict[str, Any]]:
    offcuts: dict[str, list[str]] = {}
    for one in found.known.offcuts:
        offcuts.setdefault(one.part, []).append(cut_text(one.cut))
    return [
        {
            "part": key,
            "name": parts[key].name if key in parts else key,
            **_told(parts.get(key), amount=heap.amount, aged=old.get(key)),
            "cost": money_text(to_cents(heap.cost, found.currency), found.currency),
            "oldest": _day(min(lot.on for lot in heap.lots)),
            "offcuts": offcuts.get(key, []),
            "orders": _orders_of(heap, found),
        }
        for key, heap in sorted(heaps.items())
        if heap.amount > 0
    ]


def _told(part: Part | None, **amounts: Fraction | None) -> dict[str, str | None]:
    """Amounts in one unit, the part's own, and that unit."""
    known = [value for value in amounts.values() if value is not None]
    unit, size = ("piece", Fraction(1)) if part is None else shown_in(part, *known)
    return {
        **{k: None if v is None else number_text(v / size, 12) for k, v in amounts.items()},
        "unit": unit,
    }


def _orders_of(heap: Heap, found: Books) -> list[str]:
    names = {purchase.id: purchase.order for purchase in found.known.purchases}
    return [x for x in dict.fromkeys(names.get(lot.source) for lot in heap.lots) if x]


def _day(on: date) -> str | None:
    return None if on == date.min else on.isoformat()


def _low(found: Books, parts: Mapping[str, Part]) -> list[dict[str, Any]]:
    state = found.statement
    return [
        {
            "part": key,
            "name": parts[key].name,
            "keep": _keep(parts[key]),
            **_told(
                parts[key],
                on_hand=state.hand[key].amount,
                coming=state.coming[key].amount,
                lacking=lack,
            ),
        }
        for key, lack in running_low(parts.values(), state, found.day, found.good).items()
    ]


def _keep(part: Part) -> str | None:
    return format_amount(part.keep) if part.keep else None


def _builds(found: Books) -> list[dict[str, Any]]:
    keys: Sequence[str] = sorted({key for key, _ in found.statement.builds})

    def cost(key: str, *, repair: bool) -> str:
        exact = found.statement.cost_of(key, repair=repair)
        return money_text(to_cents(exact, found.currency), found.currency)

    return [
        {"build": key, "cost": cost(key, repair=False), "repairs": cost(key, repair=True)}
        for key in keys
    ]


def _money(found: Books) -> dict[str, str]:
    """All money out by where it is, in cents that add up; and what came back."""
    state, currency = found.statement, found.currency
    cents = shown(state.buckets(), currency)
    out, back = to_cents(state.money_out, currency), to_cents(state.money_in, currency)
    places = {name.replace(" ", "_"): money_text(value, currency) for name, value in cents.items()}
    return {"out": money_text(out, currency), **places, "back": money_text(back, currency)}


def cut_text(cut: Cut) -> str:
    """`2 x 300 x 400 mm`."""
    edges = cut.size or (cut.length or Decimal(0),)
    return f"{cut.count} x {' x '.join(number_text(edge) for edge in edges)} mm"
