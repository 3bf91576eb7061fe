"""Which listing counts for a line, by a rule that is shown, and where another would save."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from scrapers import format_amount
from service.builds import texts
from service.builds.amounts import base_unit
from service.builds.cents import number_text, to_cents
from service.builds.offers import RANK, Quote
from service.builds.view import Rule
from service.model.money import money_text

SHOWN_DIGITS = 4  # of a difference in unit price


@dataclass(frozen=True, slots=True)
class Choice:
    """The quote that counts, the rule that took it, and what another would save."""

    quote: Quote
    rule: str
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a choice is made for: base units used in all, and those still to be bought.

    `cut`: units of sale that cut lists take of a quote, beside what there is.
    """

    need: Fraction
    to_buy: Fraction
    currency: str
    cut: Callable[[Quote], Fraction] | None = None

    def units(self, quote: Quote) -> Fraction:
        """Units of sale that would be bought, as many as the cut lists take."""
        least = quote.units(self.to_buy)
        return max(least, self.cut(quote)) if self.cut else least


def choose(quotes: Sequence[Quote], asked: Asked, rule: Rule) -> Choice | None:
    """The best quote by `rule` among the most usable ones; None where there is none.

    Cheapest per base unit, of equal ones the one that costs less to buy now; or the
    other way round. What is equal in both goes by the listing's name. No hint is given on a
    set: what it saves depends on the other parts of it.
    """
    if not quotes:
        return None
    best = min(RANK[quote.status] for quote in quotes)
    peers = [quote for quote in quotes if RANK[quote.status] == best]
    rated = [(q.per_unit(asked.need), _spend(q, asked), q.listing.key, q) for q in peers]
    by_unit = rule == "cheapest per unit"
    mine = _cheapest(rated) if by_unit else _least(rated)
    others = [row for row in rated if not row[3].listing.is_set or row[3] is mine]
    other = _least(others) if by_unit else _cheapest(others)
    hint = hint_now(mine, other, asked) if by_unit else hint_per_unit(mine, other, asked)
    return Choice(mine, rule, both(hint, hint_more(mine, asked)))


Rated = tuple[Fraction, Fraction, str, Quote]  # a base unit, to spend, name


def _cheapest(rated: Sequence[Rated]) -> Quote:
    return min(rated, key=lambda row: row[:3])[3]


def _least(rated: Sequence[Rated]) -> Quote:
    return min(rated, key=lambda row: (row[1], row[0], row[2]))[3]


def both(*hints: str) -> str:
    """The hints that say something, as one."""
    return "; ".join(filter(None, hints))


def hint_more(quote: Quote, asked: Asked) -> str:
    """Where a price break makes more units cost less than those that are needed."""
    units = asked.units(quote) if quote.listing.breaks else Fraction(0)
    if not units:
        return ""
    sizes = [b.quantity for b in quote.listing.breaks if b.quantity > units]
    costs = [(quote.cost(Fraction(size)), size) for size in sizes]
    best = min(costs, default=(quote.cost(units), 0))
    saving = to_cents(quote.cost(units) - best[0], asked.currency)
    if saving <= 0:
        return ""
    return texts.MORE_FOR_LESS.format(
        count=best[1],
        saving=money_text(saving, asked.currency),
        currency=asked.currency,
        buy=number_text(units),
    )


def fixed(quotes: Sequence[Quote], key: str, asked: Asked, rule: str) -> Choice | None:
    """The listing that the user or an order plan named, usable or not."""
    named = next((q for q in quotes if key in {q.listing.key, q.listing.url, short_key(q)}), None)
    if named is None:
        return None
    usable = [q for q in quotes if q.status == "priced" and not q.listing.is_set] or [named]
    return Choice(named, rule, hint_now(named, by_spend(usable, asked), asked))


def short_key(quote: Quote) -> str:
    """The listing as `supplier/part`."""
    return f"{quote.listing.supplier}/{quote.part.key}"


def by_spend(quotes: Sequence[Quote], asked: Asked) -> Quote:
    """Least to pay now; of equal ones the cheapest per base unit."""
    return min(quotes, key=lambda q: (_spend(q, asked), q.per_unit(asked.need), q.listing.key))


def _spend(quote: Quote, asked: Asked) -> Fraction:
    """What the part costs now; of a set that is all used up, its share."""
    return quote.cost(asked.units(quote)) * quote.split


def hint_now(mine: Quote, other: Quote, asked: Asked) -> str:
    """Like `300 g from S costs 5.90 EUR less now, 0.0067 more a g`; empty if nothing is saved."""
    if other.listing.key == mine.listing.key:
        return ""
    saving = to_cents(_spend(mine, asked) - _spend(other, asked), asked.currency)
    if saving <= 0:
        return ""
    first = _fill(texts.SAVES_NOW, other, money_text(saving, asked.currency), asked)
    more = other.per_unit(asked.need) - mine.per_unit(asked.need)
    if more <= 0:
        return first
    unit = base_unit(mine.part)
    return f"{first}, {texts.MORE_PER_UNIT.format(more=_unit_text(more, asked), unit=unit)}"


def hint_per_unit(mine: Quote, other: Quote, asked: Asked) -> str:
    """The other way round: what would be cheaper a unit, and what it costs more now."""
    less = mine.per_unit(asked.need) - other.per_unit(asked.need)
    if other.listing.key == mine.listing.key or less <= 0:
        return ""
    first = _fill(texts.SAVES_PER_UNIT, other, _unit_text(less, asked), asked)
    more = to_cents(_spend(other, asked) - _spend(mine, asked), asked.currency)
    now = texts.MORE_NOW.format(more=money_text(more, asked.currency), currency=asked.currency)
    return f"{first}, {now}"


def _fill(pattern: str, quote: Quote, saving: str, asked: Asked) -> str:
    return pattern.format(
        sold_as=format_amount(quote.sold_as),
        supplier=quote.listing.supplier,
        saving=saving,
        currency=asked.currency,
        unit=base_unit(quote.part),
    )


def _unit_text(value: Fraction, asked: Asked) -> str:
    """Small differences keep four digits behind the point, large ones the currency's."""
    if value >= 1:
        return money_text(to_cents(value, asked.currency), asked.currency)
    step = Decimal(1).scaleb(-SHOWN_DIGITS)
    return number_text(int(value / Fraction(step) + Fraction(1, 2)) * step)
