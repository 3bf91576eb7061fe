"""Price-log rows, as stored, to and from the values of the model."""

from __future__ import annotations

from dataclasses import fields
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from service.errors import StoreError
from service.model.prices import Observation, Offer, Spell
from service.store.timeline import Hole, Span, Terms
from service.store.types import (
    AVAILABILITIES,
    AVAILABILITY_CODES,
    ORIGIN_CODES,
    ORIGINS,
    TAX_CODES,
    TAXES,
    from_units,
    instant,
    to_micros,
    to_units,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

TERMS: Final = ("price", "currency", "list_price", "availability", "tax", "origin")
_new: Final = Spell.__new__
_listing, _offer, _first_seen, _last_seen, _polls, _longest_gap, _origin = (
    Spell.__dict__[one.name].__set__ for one in fields(Spell)
)
SPELL: Final = ("listing", "first_seen", "last_seen", "polls", "pause", *TERMS)


@lru_cache(maxsize=65_536)
def offer_of(
    price: int, currency: str, list_price: int | None, availability: int, tax: int
) -> Offer:
    """The offer of stored terms."""
    return Offer(
        from_units(price),
        currency,
        None if list_price is None else from_units(list_price),
        AVAILABILITIES[availability],
        TAXES[tax],
    )


@lru_cache(maxsize=65_536)
def terms_of(offer: Offer) -> Terms:
    """The stored terms of an offer. InputError: money finer than it is kept."""
    return Terms(
        to_units(offer.price),
        offer.currency,
        None if offer.list_price is None else to_units(offer.list_price),
        AVAILABILITY_CODES[offer.availability],
        TAX_CODES[offer.tax],
    )


def origin_code(origin: str) -> int:
    """The number of an origin."""
    code = ORIGIN_CODES.get(origin)
    if code is None:
        raise StoreError(f'"{origin}" is no origin of a price: one of {", ".join(ORIGIN_CODES)}')
    return code


def spells_of(rows: Iterable[Sequence[Any]]) -> list[Spell]:
    """Spells of rows in the order of SPELL.

    Years of a listing are hundreds of them, so a frozen spell's slots are filled directly.
    """
    made = []
    for row in rows:
        spell = _new(Spell)
        _listing(spell, row[0])
        _offer(spell, offer_of(*row[5:10]))
        _first_seen(spell, instant(row[1]))
        _last_seen(spell, instant(row[2]))
        _polls(spell, row[3])
        _longest_gap(spell, float(row[4]))
        _origin(spell, ORIGINS[row[10]])
        made.append(spell)
    return made


def span_of(row: Sequence[Any]) -> Span:
    """A stored spell for a timeline; the row in the order of SPELL."""
    return Span(row[1], row[2], row[3], row[4], Terms(*row[5:10]), row[10])


def row_of(listing: int, span: Span) -> tuple[Any, ...]:
    """The row of a span in the order of SPELL."""
    return (listing, span.first, span.last, span.polls, span.pause, *span.terms, span.origin)


def gap_rows(listing: int, holes: Iterable[Hole]) -> list[tuple[int, int, int, int]]:
    """Rows of table gap: listing, start, until, polls."""
    return [(listing, hole.start, hole.until, hole.polls) for hole in holes]


def seen_row(observation: Observation) -> tuple[int, int, Terms, int]:
    """Listing, instant, terms and origin of an observation, as stored."""
    return (
        observation.listing,
        to_micros(observation.at),
        terms_of(observation.offer),
        origin_code(observation.origin),
    )
