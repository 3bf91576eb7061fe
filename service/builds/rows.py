"""The lines of a build on their way to a cost: what each needs, has, takes and buys."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from scrapers import Availability, format_amount
from service.builds import texts
from service.builds.amounts import base_amount, is_running, misfit, shown_amount
from service.builds.bodies import bodies_needed, is_cut, own_bodies
from service.builds.choose import Asked, Choice, choose, fixed
from service.builds.offers import Market, Quote
from service.builds.requirements import parts_meeting, successors
from service.builds.row import Row
from service.model.catalogue import Part

__all__ = ["Row", "by_listing", "choose_all", "fitting", "pick"]


def pick(
    row: Row,
    asked: Asked,
    market: Market,
    torn: frozenset[str] = frozenset(),
) -> Choice | None:
    """The listing that counts for the row. Sets in `torn` bear on it with their whole price."""
    if row.part is None or row.problem:
        return None
    known = market.quotes(row.part)
    quotes = fitting(row, known) or ([] if row.to_buy else known)  # all is there: only its worth
    if row.line.listing:
        return fixed(quotes, row.line.listing, asked, "fixed")
    quotes = [replace(q, split=Fraction(1)) if q.listing.key in torn else q for q in quotes]
    planned = market.view.choose.get(row.part.key)
    return (planned and fixed(quotes, planned, asked, "order plan")) or choose(
        quotes, asked, market.view.rule
    )


def fitting(row: Row, quotes: Sequence[Quote]) -> list[Quote]:
    """The quotes whose goods every piece of the line fits in; the others leave a note."""
    found = []
    for quote in quotes:
        why = misfit(row.line, quote.sold_as, running=is_running(quote.listing))
        if why is None:
            found.append(quote)
        elif why not in row.notes:
            row.notes.append(why)
    return found


def choose_all(rows: Sequence[Row], market: Market, currency: str) -> None:
    """Choose for the lines of one part together: they are bought together."""
    _choose(rows, market, currency, frozenset())
    torn = _torn(rows)
    if torn:
        _choose(rows, market, currency, torn)
    _include(rows, market)
    for row in rows:
        _explain(row, market)
        _propose(row, market)


def _choose(rows: Sequence[Row], market: Market, currency: str, torn: frozenset[str]) -> None:
    by_part: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row.part is not None:
            by_part[row.part.key].append(row)
    for (key, *_), bucket in _buckets(rows, market).items():
        asked = _asked(bucket, by_part[key], market, currency)
        for place, row in enumerate(bucket):
            found = pick(row, asked, market, torn)
            row.choice = replace(found, hint="") if found and place else found


def _asked(bucket: Sequence[Row], of_part: Sequence[Row], market: Market, currency: str) -> Asked:
    """What the lines that are bought together need, in whole bars and sheets where they are cut."""
    whole = _is_whole(bucket[0])
    need = sum((row.need for row in bucket), Fraction(0))
    to_buy = sum((row.to_buy for row in bucket), Fraction(0))
    if not any(is_cut(row) for row in bucket):
        return Asked(need, to_buy, currency, whole=whole)

    def cut(quote: Quote) -> Fraction:
        own = own_bodies(of_part, quote, market)
        return bodies_needed(bucket, quote, own, still=True).units

    def cut_anew(quote: Quote) -> Fraction:
        return bodies_needed(bucket, quote).units

    return Asked(need, to_buy, currency, cut, cut_anew, whole)


def asked_alone(row: Row, currency: str) -> Asked:
    """What a line needs that is bought by itself, with nothing there."""
    whole = _is_whole(row)

    def cut_anew(quote: Quote) -> Fraction:
        return bodies_needed([row], quote).units

    cut = cut_anew if whole and is_cut(row) else None
    return Asked(row.need, row.need, currency, cut_anew=cut, whole=whole)


def _is_whole(row: Row) -> bool:
    return row.line.counts.kind == "whole"


def _torn(rows: Sequence[Row]) -> frozenset[str]:
    """Sets of which the build takes some parts only: their price is not shared out."""
    found = set()
    for key, group in by_listing(rows).items():
        listing = group[0].choice.quote.listing if group[0].choice else None
        taken = {row.part.key for row in group if row.part}
        if listing is not None and any(s.part not in taken for s in listing.supplies):
            found.add(key)
    return frozenset(found)


def _explain(row: Row, market: Market) -> None:
    """Why there is no price, and what is on its way."""
    if row.part is None:
        return
    if row.choice is None and not row.problem and not row.owned and row.included < row.need:
        known = market.listings(row.part.key)
        priced = any(entry.id in market.view.prices for entry in known)
        reason = texts.NO_PRICE if known else texts.NO_LISTING
        if priced:
            reason = texts.NONE_FITS if market.quotes(row.part) else texts.NOT_HERE
        fixed_to = row.line.listing
        row.notes.insert(0, texts.NOT_FIXED.format(listing=fixed_to) if fixed_to else reason)
    if row.taken:
        have = format_amount(shown_amount(row.taken, row.part))
        row.notes.append(texts.IN_BUILD.format(amount=have))
    if row.coming:
        coming = format_amount(shown_amount(row.coming, row.part))
        row.notes.append(texts.ON_ITS_WAY.format(amount=coming))


def _propose(row: Row, market: Market) -> None:
    """A discontinued part keeps its line; what still meets the need is only named."""
    if row.part is None or row.choice is None:
        return
    if row.choice.quote.offer.availability is not Availability.DISCONTINUED:
        return
    near = successors(row.part, market.view.parts)
    near += [(other, "") for other in parts_meeting(market.view.parts.values(), row.line.need)]
    named: dict[str, str] = {}
    for other, remark in near:
        priced = any(quote.status == "priced" for quote in market.quotes(other))
        if priced and other.key != row.part.key:
            named.setdefault(other.key, f"{other.key} ({remark})" if remark else other.key)
    if named:
        row.notes.append(texts.DISCONTINUED.format(parts=", ".join(named.values())))


Together = tuple[str, str | None, bool, tuple[str, ...]]


def _buckets(rows: Sequence[Row], market: Market) -> dict[Together, list[Row]]:
    """Lines of one part that may be filled from the same listings are bought together.

    Those that count whole choose apart: what is cheapest for them need not be so for a share.
    """
    found: dict[Together, list[Row]] = defaultdict(list)
    shaped = {row.part.key for row in rows if row.part and is_cut(row)}
    for row in rows:
        if row.part is not None and not row.owned and not row.problem:
            fits = _fit_in(row, row.part, market) if row.part.key in shaped else ()
            found[row.part.key, row.line.listing, _is_whole(row), fits].append(row)
    return found


def _fit_in(row: Row, part: Part, market: Market) -> tuple[str, ...]:
    return tuple(
        quote.listing.key
        for quote in market.quotes(part)
        if misfit(row.line, quote.sold_as, running=is_running(quote.listing)) is None
    )


def _include(rows: Sequence[Row], market: Market) -> None:
    """What comes in the box of something chosen covers other lines."""
    spare: dict[str, list[tuple[Fraction, str]]] = defaultdict(list)
    for group in by_listing(rows).values():
        quote = group[0].choice.quote if group[0].choice else None
        if quote is None or not quote.listing.includes:
            continue
        units = max(_gross_units(group, key) for key in {r.part.key for r in group if r.part})
        for supply in quote.listing.includes:
            part = market.view.parts.get(supply.part)
            if part is not None:
                amount = base_amount(supply.amount, part) * units
                spare[supply.part].append((amount, quote.part.key))
    for row in rows:
        if row.part is not None and not row.owned:
            _cover(row, row.part, spare[row.part.key])


def _gross_units(group: Sequence[Row], key: str) -> Fraction:
    mine = [row for row in group if row.part and row.part.key == key and row.choice]
    need = sum((row.need for row in mine), Fraction(0))
    return mine[0].choice.quote.units(need) if mine and mine[0].choice else Fraction(0)


def _cover(row: Row, part: Part, spare: list[tuple[Fraction, str]]) -> None:
    for place, (amount, source) in enumerate(spare):
        taken = min(amount, row.need - row.taken - row.on_hand - row.coming - row.included)
        if taken > 0:
            row.included += taken
            spare[place] = (amount - taken, source)
            text = format_amount(shown_amount(taken, part))
            row.notes.append(texts.INCLUDED.format(amount=text, part=source))


def by_listing(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """The rows that buy from the same page, in the order of the list."""
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row.choice is not None:
            found[row.choice.quote.listing.key].append(row)
    return found
