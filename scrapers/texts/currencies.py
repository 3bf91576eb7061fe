"""Currencies: ISO 4217 codes and minor units, and the signs and words that shops write.

A sign that several countries use ("$", "kr", "Rs") names no currency by itself:
the page's currency or the locale's region decides, else it stays open.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final

from scrapers.texts.locales import has_region, local_currency, local_signs
from scrapers.texts.wordlist import read_sections


@cache
def _iso() -> dict[str, int]:
    """Code -> minor units, from the ISO 4217 table. Codes without any (XAU) count as 0."""
    from iso4217 import raw_table  # noqa: PLC0415  30 ms that most texts never need

    units = {str(code): str(row["CcyMnrUnts"]) for code, row in raw_table.items() if code}
    return {code: int(unit) if unit.isdigit() else 0 for code, unit in units.items()}


# Measured as most used on shop pages; spares them the load of the whole table.
_COMMON: Final = {"EUR": 2, "USD": 2, "GBP": 2, "CHF": 2, "JPY": 0, "PLN": 2, "CZK": 2, "SEK": 2}


def is_currency(code: str) -> bool:
    """Whether `code` is a current ISO 4217 code in upper case."""
    return code in _COMMON or code in _iso()


def minor_units(currency: str) -> int:
    """Decimal places of a currency by ISO 4217. ValueError for an unknown code."""
    known = _COMMON.get(currency)
    if known is not None:
        return known
    try:
        return _iso()[currency]
    except KeyError:
        raise ValueError(f"{currency!r} is no ISO 4217 code: write such as EUR or GBP") from None


@dataclass(frozen=True, slots=True)
class Symbol:
    """What a sign may stand for. `default`: what it means where nothing says otherwise."""

    codes: tuple[str, ...]
    default: str | None = None
    minor: int = 2


def _sure(*codes: str) -> Symbol:
    minor = {"JPY": 0, "KRW": 0, "VND": 0, "PYG": 0, "CLP": 0, "ISK": 0}.get(codes[0], 2)
    return Symbol(codes, codes[0], minor)


_DOLLARS: Final = (
    "USD CAD AUD NZD SGD HKD TWD MXN BRL ARS CLP COP UYU JMD TTD BBD BSD BZD BMD KYD XCD FJD GYD "
    "LRD NAD SBD SRD BND CVE DOP NIO"
)
DOLLAR: Final = Symbol(tuple(_DOLLARS.split()))
CENT: Final = Symbol((*DOLLAR.codes, "EUR"))  # "¢"
_CROWN: Final = Symbol(("SEK", "NOK", "DKK", "ISK", "CZK"))

_SIGNS: Final = {
    "$": DOLLAR,
    "€": _sure("EUR"),
    "£": Symbol(("GBP", "EGP", "GIP", "FKP", "SHP", "SSP", "LBP", "SYP", "SDG"), "GBP"),
    "¥": Symbol(("JPY", "CNY"), "JPY", 0),
    "₹": _sure("INR"),
    "₽": _sure("RUB"),
    "₴": _sure("UAH"),
    "₺": _sure("TRY"),
    "₪": _sure("ILS"),
    "₫": _sure("VND"),
    "฿": _sure("THB"),
    "₩": _sure("KRW"),
    "₱": _sure("PHP"),
    "₦": _sure("NGN"),
    "₲": _sure("PYG"),
    "₡": _sure("CRC"),
    "₸": _sure("KZT"),
    "₼": _sure("AZN"),
    "₾": _sure("GEL"),
    "֏": _sure("AMD"),
    "৳": _sure("BDT"),
    "₭": _sure("LAK"),
    "៛": _sure("KHR"),
    "₮": _sure("MNT"),
    "₵": _sure("GHS"),
    "؋": _sure("AFN"),
    "JP¥": _sure("JPY"),
    "CN¥": _sure("CNY"),
    "元": _sure("CNY"),
    "圆": _sure("CNY"),
    "円": _sure("JPY"),
    "圓": Symbol(("TWD", "HKD"), None, 2),
    "원": _sure("KRW"),
}

_PREFIXED: Final = {
    "USD": "us usa usd su",
    "AUD": "a au aud",
    "CAD": "c ca can cad cdn",
    "NZD": "nz nzd",
    "HKD": "hk hkd",
    "SGD": "s sg sgd",
    "TWD": "nt twd",
    "MXN": "mx mex mxn",
    "BRL": "r brl",
    "ARS": "ar ars",
    "CLP": "cl clp",
    "COP": "co col cop",
    "JMD": "j jmd",
    "TTD": "tt ttd",
    "XCD": "ec xcd",
    "FJD": "fj fjd",
    "NAD": "n nad",
    "UYU": "u uyu",
}
_DOLLAR_OF: Final = {word: code for code, words in _PREFIXED.items() for word in words.split()}

_VAGUE: Final = {
    "kr": _CROWN,
    "kronor": _CROWN,
    "kroner": _CROWN,
    "krone": _CROWN,
    "rs": Symbol(("INR", "PKR", "LKR", "NPR", "MUR", "SCR")),
    "rupees": Symbol(("INR", "PKR", "LKR", "NPR", "MUR", "SCR")),
    "dollar": DOLLAR,
    "dollars": DOLLAR,
    "dh": Symbol(("AED", "MAD")),
    "dhs": Symbol(("AED", "MAD")),
    "درهم": Symbol(("AED", "MAD")),
    "تومان": Symbol((), None, 0),
    "r": Symbol(("ZAR",), "ZAR"),
    # Withdrawn when Bulgaria and Croatia took the euro; old pages still show them.
    "лв": Symbol(()),
    "лева": Symbol(()),
    "bgn": Symbol(()),
    "hrk": Symbol(()),
    "kn": Symbol(()),
}


@cache
def _words() -> dict[str, Symbol]:
    sure = {
        word: _sure(code)
        for code, words in read_sections("currency_words.txt").items()
        for word in words
    }
    return sure | _VAGUE


# Codes that are everyday words in capitals on product pages; they count only beside decimals.
_EVERYDAY: Final = frozenset(
    (
        "ALL",
        "TOP",
        "TRY",
        "CUP",
        "MOP",
        "PEN",
        "GEL",
        "SOS",
        "BAM",
        "LAK",
        "ANG",
        "BOB",
        "MAD",
        "COP",
    )
)
SIGNS: Final = "".join(sign for sign in _SIGNS if len(sign) == 1)


@lru_cache(maxsize=8192)
def symbol(text: str) -> Symbol | None:
    """What the sign, word or code `text` may mean, or None where it names no currency."""
    bare = text.strip()
    if bare in _SIGNS:
        return _SIGNS[bare]
    folded = bare.casefold().rstrip(".").replace(" ", "").replace(".", "")
    if "$" in folded:
        code = _DOLLAR_OF.get(folded.replace("$", ""))
        return DOLLAR if code is None else _sure(code)
    found = _words().get(folded)
    if found is not None:
        return found if folded != "r" or bare == "R" else None
    if len(bare) == 3 and bare.isascii() and bare.isupper() and is_currency(bare):
        return symbol_of_code(bare)
    return None


def symbol_of_code(code: str | None) -> Symbol | None:
    """The symbol that stands for one ISO code only."""
    if code is None or not is_currency(code):
        return None
    return Symbol((code,), code, minor_units(code))


def is_everyday(code: str) -> bool:
    """Whether an ISO code is also a word that product pages write in capitals."""
    return code in _EVERYDAY


def hinted(hint: str | None) -> str | None:
    """The ISO code that a caller's hint (code, sign or word) gives, or None."""
    if not hint:
        return None
    code = hint.strip().upper()
    if len(code) == 3 and is_currency(code):
        return code
    found = symbol(hint)
    return found.default if found else None


def local_dollar(locale: str) -> str | None:
    """Whose dollar a bare "$" is in a region with another currency, by CLDR."""
    return local_signs(locale).get("$")


def resolve(found: Symbol | None, hint: str | None, locale: str | None) -> str | None:
    """The currency of a text: what it writes, narrowed by the page's currency and locale."""
    if found is None:
        return hint
    if hint is not None and hint in found.codes:
        return hint
    if locale and len(found.codes) > 1:
        local = local_currency(locale)
        if local in found.codes:
            return local
        if found.default is None and has_region(locale):
            return local_dollar(locale) if found is DOLLAR else None
    return found.default


# Currencies whose countries write a decimal point only (CLDR 48, common practice): a point
# before three digits is then no grouping, and no price either.
_POINTS: Final = frozenset(
    (
        "GBP",
        "USD",
        "AUD",
        "NZD",
        "CAD",
        "SGD",
        "HKD",
        "TWD",
        "INR",
        "MXN",
        "THB",
        "CNY",
        "ILS",
        "PHP",
        "MYR",
        "KES",
        "NGN",
        "EGP",
        "PKR",
        "LKR",
        "BDT",
    )
)


def points_only(found: Symbol | None, code: str | None) -> bool:
    """Whether a point can only be a decimal sign in this currency. A bare "$" counts so."""
    return code in _POINTS if code else found is DOLLAR


def minor_of(found: Symbol | None, code: str | None) -> int | None:
    """Decimal places to expect: of the code, else of the sign; None where neither is known."""
    if code is not None:
        return minor_units(code)
    return found.minor if found is not None else None
