"""What CLDR says about a locale: its separators, side of the currency, currency signs.

Babel is loaded when a text needs it, and each locale is read once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from babel import Locale

# Languages of several dollar countries: without a region they do not say whose dollar.
_MANY_DOLLARS: Final = frozenset({"en", "es", "fr", "pt", "zh", "nl", "ms", "ta"})


@dataclass(frozen=True, slots=True)
class Style:
    """`decimal`, `group`: separators as cleaned texts hold them. `leads`: currency first."""

    decimal: str
    group: str
    leads: bool


@lru_cache(maxsize=512)
def _locale(name: str) -> Locale | None:
    from babel import Locale  # noqa: PLC0415  15 ms, needed for texts that only a locale decides
    from babel.core import UnknownLocaleError  # noqa: PLC0415  the same

    try:
        return Locale.parse(name.split(".", 1)[0].replace("-", "_"))
    except (UnknownLocaleError, ValueError, TypeError):
        return None


def _clean(sign: str) -> str:
    """A CLDR separator as `clean` leaves it in a text."""
    if sign.isspace() or sign in "\u00a0\u202f\u2009":
        return " "
    return {"\u2019": "'", "\u066c": "'", "\u02bc": "'", "\u2e41": ","}.get(sign, sign)


@lru_cache(maxsize=512)
def style(name: str) -> Style | None:
    """The number style of a locale, or None for an unknown one."""
    locale = _locale(name)
    if locale is None:
        return None
    system = locale.default_numbering_system
    symbols = locale.number_symbols.get(system) or locale.number_symbols.get("latn") or {}
    pattern = locale.currency_formats["standard"].pattern.split(";")[0]
    return Style(
        _clean(symbols.get("decimal", ".")),
        _clean(symbols.get("group", ",")),
        pattern.lstrip("\u200e\u200f\u061c").startswith("¤"),
    )


@lru_cache(maxsize=512)
def local_currency(name: str) -> str | None:
    """The currency of the locale's region today; None where no region is named.

    For a language of one dollar country and no region, "USD": its writers mean that one.
    """
    locale = _locale(name)
    if locale is None:
        return None
    if locale.territory is None:
        return None if locale.language in _MANY_DOLLARS else "USD"
    from babel.numbers import get_territory_currencies  # noqa: PLC0415  loaded with babel above

    current = get_territory_currencies(locale.territory)
    return current[0] if current else None


def has_region(name: str) -> bool:
    """Whether the locale names a region."""
    locale = _locale(name)
    return locale is not None and locale.territory is not None


@lru_cache(maxsize=512)
def local_signs(name: str) -> dict[str, str]:
    """Sign -> ISO code as the locale writes them, where a sign means one currency only."""
    locale = _locale(name)
    if locale is None:
        return {}
    from babel.numbers import get_currency_symbol  # noqa: PLC0415  loaded with babel above

    signs: dict[str, str] = {}
    for code in map(str, locale.currency_symbols):
        signs.setdefault(get_currency_symbol(code, locale=locale), code)
    return signs
