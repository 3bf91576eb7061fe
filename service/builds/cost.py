"""The cost of a build, line by line, so that the total is the sum of what is shown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from scrapers import Amount
from service.builds import texts
from service.builds.amounts import mass_of
from service.builds.cents import number_text, to_cents, to_decimal
from service.builds.offers import Market, Quote, Status
from service.builds.paid import Lots, open_lots
from service.builds.rows import Row, choose_all, make_rows
from service.builds.units import distribute
from service.builds.versions import resolve
from service.builds.view import PriceView, Supplies
from service.model.builds import Build, Counts
from service.model.catalogue import Listing

NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class LineCost:
    """One line with every figure and the reason for it.

    Money is rounded half up to the build currency's minor units; `price` is of one unit
    of sale in `currency` as its page shows it; `rate`: build currency for one unit of it.
    `on_hand` is in `unit`, `mass` in g. None: not known.
    """

    part: str | None
    name: str
    group: str
    amount: Amount
    counts: Counts
    status: Status
    listing: Listing | None = None
    rule: str | None = None
    sold_as: Amount | None = None
    price: Decimal | None = None
    currency: str | None = None
    rate: Decimal | None = None
    rate_day: date | None = None
    buy: Decimal = NOTHING
    share: Decimal | None = None
    to_spend: Decimal | None = None
    paid: Decimal | None = None
    delivered: Decimal | None = None
    on_hand: Decimal = NOTHING
    mass: Decimal | None = None
    age: timedelta | None = None
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Sums:
    """What the shown lines add up to. Not `complete`: at least so much."""

    share: Decimal
    to_spend: Decimal
    paid: Decimal | None
    delivered: Decimal | None
    mass: Decimal | None
    complete: bool
    spent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class BuildCost:
    """A build repriced at one time. `missing`: lines without a price, by part or need."""

    build: str
    name: str
    currency: str
    at: datetime
    destination: str | None
    lines: tuple[LineCost, ...]
    groups: tuple[tuple[str, Sums], ...]
    totals: Sums
    missing: tuple[str, ...] = ()
    companions: tuple[dict[str, str], ...] = ()
    fit: tuple[dict[str, str], ...] = ()
    warnings: tuple[str, ...] = ()


def price_build(build: Build, view: PriceView) -> BuildCost:
    """Reprice one build. A version is first derived from its base (`view.builds`)."""
    return price_in(build, Market(view, build.currency))


def price_in(build: Build, market: Market) -> BuildCost:
    """Reprice a build of the market's currency; one market serves many builds."""
    whole = resolve(build, market.view.builds)
    view = replace_destination(market, whole)
    rows = make_rows(whole, view)
    choose_all(rows, view, whole.currency)
    distribute(rows, view, whole.currency)
    lots = open_lots(view.view, whole.currency)
    lines = [_line(row, whole.currency, lots) for row in rows]
    lines = _with_supplies(lines, view.view.supplies, whole.currency)
    return _summed(whole, view, rows, lines, lots)


def replace_destination(market: Market, build: Build) -> Market:
    """The same market, or one on the footing of the build's own destination."""
    if build.destination is None or build.destination == market.view.destination:
        return market
    return Market(replace(market.view, destination=build.destination), market.currency)


def _summed(
    build: Build, market: Market, rows: Sequence[Row], lines: Sequence[LineCost], lots: Lots
) -> BuildCost:
    totals = sums(lines)
    bought = {row.part.key for row in rows if row.part}
    if any(lots.by_part.get(key) for key in bought):
        totals = replace(totals, spent=to_cents(lots.spent(bought), build.currency))
    return BuildCost(
        build=build.key,
        name=build.name,
        currency=build.currency,
        at=market.view.at,
        destination=market.view.destination,
        lines=tuple(lines),
        groups=_groups(lines),
        totals=totals,
        missing=tuple(dict.fromkeys(line.name for line in lines if line.status == "missing")),
        warnings=(*market.warnings, *_mass_warning(lines)),
    )


def _line(row: Row, currency: str, lots: Lots) -> LineCost:
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
    )
    if row.owned:
        return replace(bare, status="owned", share=zero(currency), to_spend=zero(currency))
    if row.choice is None:
        return _unpriced(bare, row, currency)
    return _priced(bare, row, row.choice.quote, currency)


def _unpriced(bare: LineCost, row: Row, currency: str) -> LineCost:
    """A line without a price; covered whole by what is in another box it needs none."""
    hint = "; ".join(filter(None, [row.problem or texts.NO_LISTING, *row.notes]))
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
    if row.part is None or row.owned or not lots.by_part.get(row.part.key):
        return None
    covered, price = lots.take(row.part.key, row.need - row.included)
    if covered < row.need - row.included:
        have, need = number_text(covered, 6), number_text(row.need, 6)
        row.notes.append(texts.PAID_IN_PART.format(have=have, need=need, unit=row.part.unit))
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
    return to_decimal(value / row.need * Fraction(row.amount.value), 12)


def zero(currency: str) -> Decimal:
    """Nothing, with the currency's minor units."""
    return to_cents(Fraction(0), currency)


def _with_supplies(
    lines: list[LineCost], supplies: Supplies | None, currency: str
) -> list[LineCost]:
    """Workshop supplies as one line of its own, where the settings say how they count."""
    if supplies is None or not any(line.counts.kind == "stock" for line in lines):
        return lines
    nothing = zero(currency)
    kept = [replace(x, share=nothing) if x.counts.kind == "stock" else x for x in lines]
    base = sum((Fraction(line.share) for line in kept if line.share is not None), Fraction(0))
    flat = Fraction(supplies.flat or 0) + base * Fraction(supplies.fraction or 0)
    extra = LineCost(
        part=None,
        name=texts.SUPPLIES,
        group=texts.SUPPLIES,
        amount=Amount(Decimal(1), "piece"),
        counts=Counts("stock"),
        status="priced",
        share=to_cents(flat, currency),
        to_spend=nothing,
        rule="flat sum" if supplies.flat is not None else "part of the rest",
    )
    return [*kept, extra]


def sums(lines: Iterable[LineCost]) -> Sums:
    """Totals of the shown figures; what no line knows is None, what one lacks is left out."""
    rows = list(lines)
    return Sums(
        share=_add(row.share for row in rows) or NOTHING,
        to_spend=_add(row.to_spend for row in rows) or NOTHING,
        paid=_add(row.paid for row in rows),
        delivered=_add(row.delivered for row in rows),
        mass=_add(row.mass for row in rows),
        complete=all(row.status != "missing" for row in rows),
    )


def _add(values: Iterable[Decimal | None]) -> Decimal | None:
    known = [value for value in values if value is not None]
    return sum(known, NOTHING) if known else None


def _groups(lines: Sequence[LineCost]) -> tuple[tuple[str, Sums], ...]:
    names = dict.fromkeys(line.group for line in lines)
    return tuple((name, sums(line for line in lines if line.group == name)) for name in names)


def _mass_warning(lines: Sequence[LineCost]) -> list[str]:
    """Only a build whose masses are kept wants to hear which are not known."""
    built = [line for line in lines if line.counts.kind not in {"tool", "stock"}]
    lacking = dict.fromkeys(line.name for line in built if line.mass is None)
    if not lacking or all(line.mass is None for line in built):
        return []
    return [texts.MASS_UNKNOWN.format(parts=", ".join(lacking))]
