"""Country and currency guessed from what the browser says, shown as words. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from babel import Locale, UnknownLocaleError
from babel.numbers import get_currency_name, get_territory_currencies


@dataclass(frozen=True, slots=True)
class Place:
    """A country (ISO 3166 code) with its name and currency."""

    code: str
    name: str
    currency: str
    currency_name: str


COUNTRIES = sorted(
    (
        (code, name)
        for code, name in Locale("en").territories.items()
        if len(code) == len("NL") and code.isalpha() and get_territory_currencies(code)
    ),
    key=lambda pair: pair[1],
)


def guess(accept_language: str) -> Place | None:
    """The first language with a country: `de-AT,de;q=0.9` -> Austria, euro. None: none named."""
    for item in accept_language[:200].split(","):
        tag = item.partition(";")[0].strip()
        _, _, country = tag.partition("-")
        if len(country) == len("NL") and country.isalpha() and (found := _place(country.upper())):
            return found
    return None


def _place(code: str) -> Place | None:
    try:
        name = Locale("en").territories.get(code)
    except UnknownLocaleError:
        return None
    currencies = get_territory_currencies(code)
    if not name or not currencies:
        return None
    return Place(code, name, currencies[0], get_currency_name(currencies[0], locale="en"))
