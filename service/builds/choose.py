"""Which listing counts for a line, by a rule that is shown, and where another would save."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final, NamedTuple

from scrapers import format_amount
from service.builds import texts
from service.builds.amounts import base_unit
from service.builds.cents import number_text, to_cents
from service.builds.offers import RANK, Quote
from service.builds.view import Rule
from service.model.money import money_text

SHOWN_DIGITS = 4  # of a difference in unit price
WHOLE_RULE: Final = "cheapest whole units"  # "cheapest per unit" of a line that counts whole


@dataclass(frozen=True, slots=True)
class Choice:
    """The quote that counts, the rule that took it, and what another would save."""

    quote: Quote
    rule: str
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a choice is made for: base units used in all, and those still to be bought.

    `cut`: units of sale that cut lists take of a quote, beside what there is; `cut_anew`: if
    nothing were there. `whole`: what is opened counts whole, however little of it is used.
    """

    need: Fraction
    to_buy: Fraction
    currency: str
    cut: Callable[[Quote], Fraction] | None = None
    cut_anew: Callable[[Quote], Fraction] | None = None
    whole: bool = False

    def units(self, quote: Quote) -> Fraction:
        """Units of sale that would be bought, as many as the cut lists take."""
        least = quote.units(self.to_buy)
        return max(least, self.cut(quote)) if self.cut else least

    def in_model(self, quote: Quote) -> Fraction:
        """What all that is needed counts in the model: the share used up, or units opened."""
        if not self.whole:
            return quote.per_unit(self.need) * self.need
        units = quote.units(self.need)
        units = max(units, self.cut_anew(quote)) if self.cut_anew else units
        return quote.cost(units) * quote.split

    def rated(self, quote: Quote) -> Rated:
        """What the quotes are ranked by; nothing that is needed is told apart by its price."""
        each = quote.per_unit(self.need)
        first = self.in_model(quote) if self.whole else each
        return Rated(first, _spend(quote, self), each, quote.listing.key, quote)


def choose(quotes: Sequence[Quote], asked: Asked, rule: Rule) -> Choice | None:
    """The best quote by `rule` among the most usable ones; None where there is none.

    Cheapest per base unit (of what counts whole: whose units cost least for the amount
    needed), of equal ones the one that costs less to buy now; or the other way round. What
    is equal in both goes by the base unit's price, then by the listing's name. No hint is
    given on a set: what it saves depends on the other parts of it.
    """
    if not quotes:
        return None
    best = min(RANK[quote.status] for quote in quotes)
    peers = [quote for quote in quotes if RANK[quote.status] == best]
    rated = [asked.rated(quote) for quote in peers]
    by_unit = rule == "cheapest per unit"
    mine = _cheapest(rated) if by_unit else _least(rated)
    others = [row for row in rated if not row.quote.listing.is_set or row.quote is mine]
    other = _least(others) if by_unit else _cheapest(others)
    hint = hint_now(mine, other, asked) if by_unit else hint_per_unit(mine, other, asked)
    told = WHOLE_RULE if by_unit and asked.whole else rule
    return Choice(mine, told, both(hint, hint_more(mine, asked)))


class Rated(NamedTuple):
    """A quote with what it is ranked by: as its line counts, to spend, a base unit, name."""

    first: Fraction
    spend: Fraction
    each: Fraction
    name: str
    quote: Quote


def _cheapest(rated: Sequence[Rated]) -> Quote:
    return min(rated, key=lambda row: row[:4]).quote


def _least(rated: Sequence[Rated]) -> Quote:
    return min(rated, key=lambda row: (row.spend, row.first, row.each, row.name)).quote


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
    return _least([asked.rated(quote) for quote in quotes])


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
    if asked.whole:
        beside = to_cents(asked.in_model(other) - asked.in_model(mine), asked.currency)
        dearer = money_text(beside, asked.currency)
        text = texts.MORE_IN_MODEL.format(more=dearer, currency=asked.currency)
        return f"{first}, {text}" if beside > 0 else first
    more = other.per_unit(asked.need) - mine.per_unit(asked.need)
    if more <= 0:
        return first
    unit = base_unit(mine.part)
    return f"{first}, {texts.MORE_PER_UNIT.format(more=_unit_text(more, asked), unit=unit)}"


def hint_per_unit(mine: Quote, other: Quote, asked: Asked) -> str:
    """The other way round: what would be cheaper a unit, and what it costs more now."""
    less = asked.rated(mine).first - asked.rated(other).first
    if other.listing.key == mine.listing.key or less <= 0:
        return ""
    if asked.whole:
        saving = money_text(to_cents(less, asked.currency), asked.currency)
        first = _fill(texts.SAVES_IN_MODEL, other, saving, asked)
    else:
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
