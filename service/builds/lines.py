"""From a row at work to the line that is shown, every figure with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount
from service.builds import texts
from service.builds.amounts import mass_of, shown_in
from service.builds.cents import exact_rate, number_text, to_cents, to_decimal
from service.builds.figures import NOTHING, LineCost, zero
from service.builds.offers import Quote
from service.builds.paid import Lots
from service.builds.row import Row
from service.builds.view import Supplies
from service.model.builds import Counts
from service.model.money import Rates


def line_cost(row: Row, currency: str, lots: Lots) -> LineCost:
    bare = LineCost(
        part=row.part.key if row.part else None,
        name=row.name,
        group=row.line.group,
        amount=row.amount,
        counts=row.line.counts,
        status="missing",
        paid=_paid(row, currency, lots),
        on_hand=_in_line_unit(row.on_hand, row),
        mass=_mass(row),
        place=row.place,
    )
    if row.owned:
        return replace(
            bare, status="owned", share=zero(currency), to_spend=zero(currency), hint=texts.OWNED
        )
    if row.choice is None:
        return _unpriced(bare, row, currency)
    return _priced(bare, row, row.choice.quote, currency)


def with_rest(lines: Sequence[LineCost], currency: str, lots: Lots) -> list[LineCost]:
    """What the build took of a part beyond its lines (saw cuts, spares) is paid on the last."""
    found = list(lines)
    last = {x.part: place for place, x in enumerate(found) if x.part and x.paid is not None}
    for part, place in last.items():
        if rest := to_cents(lots.rest(part), currency):
            line = found[place]
            found[place] = replace(line, paid=(line.paid or zero(currency)) + rest)
    return found


def _unpriced(bare: LineCost, row: Row, currency: str) -> LineCost:
    """A line without a price; covered whole by what is in another box it needs none."""
    hint = "; ".join(filter(None, [row.problem, *row.notes]))
    if row.part is not None and not row.problem and row.included >= row.need:
        notes = "; ".join(row.notes)
        nothing = zero(currency)
        return replace(bare, status="priced", share=nothing, to_spend=nothing, hint=notes)
    return replace(bare, hint=hint)


def _priced(bare: LineCost, row: Row, quote: Quote, currency: str) -> LineCost:
    return replace(
        bare,
        status=quote.status,
        listing=quote.listing,
        rule=row.choice.rule if row.choice else None,
        sold_as=quote.sold_as,
        price=quote.offer.price,
        currency=quote.offer.currency,
        rate=to_decimal(quote.rate, 12),
        rate_day=quote.rate_day,
        buy=to_decimal(row.buy, 12),
        share=to_cents(_share(row, quote), currency),
        to_spend=row.spend,
        age=quote.age,
        hint=_hint(row, quote, currency),
    )


def _share(row: Row, quote: Quote) -> Fraction:
    """What the line costs in this model, by the way it counts; exact."""
    used = max(row.need - row.included, Fraction(0))
    each = quote.each(row.opened_in_all)
    kind = row.line.counts.kind
    if kind == "tool":
        return Fraction(0)
    if kind == "whole":
        return row.opened * each
    share = used / quote.content * each
    return share / row.line.counts.among if kind == "shared" else share


def _hint(row: Row, quote: Quote, currency: str) -> str:
    rate = ""
    if quote.rate_day is not None:
        rate = texts.RATE.format(
            source=quote.offer.currency,
            rate=number_text(quote.rate, 6),
            target=currency,
            day=quote.rate_day.isoformat(),
        )
    saving = row.choice.hint if row.choice else ""
    return "; ".join(filter(None, [*quote.notes, *row.notes, saving, rate]))


def _paid(row: Row, currency: str, lots: Lots) -> Decimal | None:
    if row.part is None or row.owned or row.line.counts.kind == "tool":
        return None  # a tool is bought, but no build's cost
    if not lots.by_part.get(row.part.key):
        return None
    whole = row.line.counts.kind == "whole"
    covered, price = lots.take(row.part.key, row.need - row.included, whole=whole)
    if covered < row.need - row.included:
        unit, size = shown_in(row.part, covered, row.need)
        have, need = number_text(covered / size, 6), number_text(row.need / size, 6)
        row.notes.append(texts.PAID_IN_PART.format(have=have, need=need, unit=unit))
    return to_cents(price, currency)


def _mass(row: Row) -> Decimal | None:
    if row.part is None or row.problem or row.line.counts.kind in {"tool", "stock"}:
        return None
    grams = mass_of(row.need / (1 + Fraction(row.line.waste)), row.part)
    return None if grams is None else to_decimal(grams, 9)


def _in_line_unit(value: Fraction, row: Row) -> Decimal:
    """`value` base units of the part as the line counts it."""
    if not value or not row.need:
        return NOTHING
    whole = value / row.need * (1 + Fraction(row.line.waste))
    return to_decimal(whole * Fraction(row.amount.value), 12)


def supplies_in(given: Supplies | None, rates: Rates, currency: str) -> Supplies | None:
    """The user's rule in a build's currency; None: stock lines count as goods."""
    if given is None or given.flat is None or given.currency in {None, currency}:
        return given
    rate = exact_rate(rates, given.currency or currency, currency)
    if rate is None:
        return None
    return replace(given, flat=to_decimal(Fraction(given.flat) * rate[0]), currency=None)


def supplies_sum(base: Decimal, supplies: Supplies, currency: str) -> Decimal:
    """What workshop supplies count beside goods that count `base`."""
    part = Fraction(base) * Fraction(supplies.fraction or 0)
    return to_cents(Fraction(supplies.flat or 0) + part, currency)


def with_supplies(
    lines: Sequence[LineCost], supplies: Supplies | None, currency: str
) -> list[LineCost]:
    """Workshop supplies as one line of its own, where the settings say how they count."""
    if supplies is None or not any(line.counts.kind == "stock" for line in lines):
        return list(lines)
    nothing = zero(currency)
    kept = [replace(x, share=nothing) if x.counts.kind == "stock" else x for x in lines]
    base = sum((line.share for line in kept if line.share is not None), Decimal(0))
    extra = LineCost(
        part=None,
        name=texts.SUPPLIES,
        group=texts.SUPPLIES,
        amount=Amount(Decimal(1), "piece"),
        counts=Counts("stock"),
        status="priced",
        share=supplies_sum(base, supplies, currency),
        to_spend=nothing,
        rule="flat sum" if supplies.flat is not None else "part of the rest",
    )
    return [*kept, extra]
