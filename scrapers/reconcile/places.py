"""Countries, their currency and standard VAT rate: what explains two amounts on one page.

Rates: European Commission, "VAT rates applied in the Member States" (2025) and the
national tax offices of GB, CH, NO, IS, AU, NZ, JP, ZA, IN, SG; the rate before the latest change
is kept where shops' caches still show it.
"""

from __future__ import annotations

import re
from collections import Counter
from decimal import Decimal
from functools import lru_cache
from urllib.parse import urlsplit

from scrapers.texts import read_price

_RATES: dict[str, str] = {
    "AT": "20", "BE": "21", "BG": "20", "HR": "25", "CY": "19", "CZ": "21", "DK": "25",
    "EE": "24 22", "FI": "25.5 24", "FR": "20", "DE": "19", "GR": "24", "HU": "27", "IE": "23",
    "IT": "22", "LV": "21", "LT": "21", "LU": "17", "MT": "18", "NL": "21", "PL": "23",
    "PT": "23", "RO": "21 19", "SK": "23 20", "SI": "22", "ES": "21", "SE": "25", "GB": "20",
    "CH": "8.1 7.7", "NO": "25", "IS": "24", "AU": "10", "NZ": "15", "JP": "10", "ZA": "15",
    "IN": "18", "SG": "9",
}  # fmt: skip
_EURO = (
    "AT", "BE", "BG", "HR", "CY", "EE", "FI", "FR", "DE", "GR", "IE", "IT", "LV", "LT", "LU", "MT",
    "NL", "PT", "SK", "SI", "ES",
)  # fmt: skip
CURRENCY_OF: dict[str, str] = {
    **dict.fromkeys(_EURO, "EUR"),
    "CZ": "CZK", "DK": "DKK", "HU": "HUF", "PL": "PLN", "RO": "RON", "SE": "SEK",
    "GB": "GBP", "CH": "CHF", "NO": "NOK", "IS": "ISK", "AU": "AUD", "NZ": "NZD", "JP": "JPY",
    "ZA": "ZAR", "IN": "INR", "SG": "SGD", "CA": "CAD", "US": "USD", "HK": "HKD", "MX": "MXN",
    "BR": "BRL", "CN": "CNY", "KR": "KRW", "TR": "TRY", "TW": "TWD", "TH": "THB", "IL": "ILS",
    "RU": "RUB", "UA": "UAH", "BY": "BYN", "KZ": "KZT", "UZ": "UZS", "GE": "GEL", "AM": "AMD",
    "AZ": "AZN", "MD": "MDL", "RS": "RSD", "MK": "MKD", "BA": "BAM", "AL": "ALL", "VN": "VND",
    "ID": "IDR", "MY": "MYR", "PH": "PHP", "PK": "PKR", "BD": "BDT", "LK": "LKR", "AE": "AED",
    "SA": "SAR", "EG": "EGP", "MA": "MAD", "NG": "NGN", "KE": "KES", "AR": "ARS", "CL": "CLP",
    "PE": "PEN", "UY": "UYU",
}  # fmt: skip
# tongues that are spoken (as good as) in one country only
_HOME = {
    "sv": "SE", "da": "DK", "nb": "NO", "nn": "NO", "no": "NO", "cs": "CZ", "pl": "PL", "hu": "HU",
    "ro": "RO", "ja": "JP", "zh": "CN", "tr": "TR", "ko": "KR", "th": "TH", "he": "IL", "bg": "BG",
    "is": "IS",
    "ru": "RU", "uk": "UA", "be": "BY", "kk": "KZ", "ka": "GE", "hy": "AM", "az": "AZ", "sr": "RS",
    "mk": "MK", "sq": "AL", "vi": "VN", "id": "ID",
    # and tongues of several countries that all pay in euros
    "nl": "NL", "fi": "FI", "sk": "SK", "el": "GR", "et": "EE", "lv": "LV", "lt": "LT", "sl": "SI",
    "hr": "HR",
}  # fmt: skip
_DOLLARS = re.compile(
    r"\b(?:(AUD|AU\$|A\$|Australian?|ABN:?\s\d\d)|(CAD|CA\$|C\$|Canad(?:a|ian)|GST/HST)|"
    r"(NZD|NZ\$|New Zealand)|(HKD|HK\$)|(SGD|S\$|Singapore)|(MXN|MX\$))(?![A-Za-z])"
)
_ABROAD = re.compile(r"(?:\b(?:to|outside|and|or|from|into)|[,&/])\s+(?:the\s+)?\Z", re.IGNORECASE)
_LANDS = re.compile(
    r"\b(?:United (?:Kingdom|States)|USA|Ireland|France|Germany|Netherlands|Belgium|Luxembourg|"
    r"Spain|Portugal|Italy|Austria|Switzerland|Norway|Sweden|Denmark|Finland|Poland|Greece|Japan|China|"
    r"Hong Kong|India|Mexico|Brazil|Australia|Canada|New Zealand|Singapore)\b"
)
AROUND, MANY_LANDS = 90, 3  # characters; countries that close together are a list
_REGION = re.compile(r"[-_][A-Za-z]{2}\Z")
_US = re.compile(r"\bUSD?\b|US\$")
_DOLLAR_CODES = ("AUD", "CAD", "NZD", "HKD", "SGD", "MXN")
_DOMAINS = {"uk": "GB", "com.au": "AU", "co.nz": "NZ", "co.za": "ZA", "co.jp": "JP"}
_CENT = Decimal("0.01")
_WHOLE = frozenset({"HUF", "ISK", "JPY", "KRW"})  # prices of whole units


@lru_cache(maxsize=1024)  # a page asks again at its next visit
def country_of(url: str, lang: str | None) -> str | None:
    """The country that a host's top level or the page's language tag names."""
    try:
        host = (urlsplit(url).hostname or "").lower()
    except ValueError:
        host = ""
    last = host.rsplit(".", 1)[-1]
    if last in _DOMAINS:
        return _DOMAINS[last]
    if len(last) == 2 and last.upper() in CURRENCY_OF:
        return last.upper()
    tag = (lang or "").replace("_", "-").split("-")
    region = next((p.upper() for p in tag[1:] if len(p) == 2), None)
    if tag[0].lower() == "zh" and len(tag) > 1:
        return region if region in CURRENCY_OF else None  # in the other script written elsewhere
    return region if region in CURRENCY_OF else _HOME.get(tag[0].lower())


def dollars(text: str, locale: str | None = None) -> str:
    """Which dollar a bare "$" is: that of the page's region, else the one named most, else US."""
    if locale and _REGION.search(locale):
        local = read_price("$1.00", locale=locale)
        if local is not None and local.currency is not None:
            return local.currency
    text = text[:60_000]
    named = Counter(
        _DOLLAR_CODES[(m.lastindex or 1) - 1]
        for m in _DOLLARS.finditer(text)
        if not (m[0][-1].islower() and _is_destination(text, m))
    )
    named["USD"] += len(_US.findall(text))
    code, count = named.most_common(1)[0]
    return code if count else "USD"


def _is_destination(text: str, named: re.Match[str]) -> bool:
    """Whether a country is named as one that parcels go to, as shops elsewhere do too.

    "We ship to Canada", or one of several countries of a list.
    """
    if _ABROAD.search(text[max(0, named.start() - 14) : named.start()]):
        return True
    near = text[max(0, named.start() - AROUND) : named.end() + AROUND]
    return len(set(_LANDS.findall(near))) >= MANY_LANDS


@lru_cache(maxsize=256)
def factors(currency: str | None, country: str | None) -> tuple[Decimal, ...]:
    """1 + VAT rate of the country, else of every country with that currency."""
    known = [country] if country in _RATES else [c for c in _RATES if CURRENCY_OF[c] == currency]
    rates = {r for c in known if c for r in _RATES[c].split()}
    return tuple(1 + Decimal(r) / 100 for r in sorted(rates, key=Decimal))


# where a tongue is mostly spoken, for pages that name no country
_SPOKEN = {
    "de": ("DE", "AT"), "fr": ("FR", "BE"), "nl": ("NL", "BE"), "it": ("IT",), "es": ("ES",),
    "pt": ("PT",), "fi": ("FI",), "el": ("GR",), "sk": ("SK",), "sl": ("SI",), "hr": ("HR",),
    "en": ("GB", "IE", "AU", "NZ", "IN"),
}  # fmt: skip


def likely_factors(
    currency: str | None, country: str | None, lang: str | None
) -> tuple[Decimal, ...]:
    """1 + VAT rate of the country, else of those with the page's language and this currency.

    Where the language names none, that of the one country with the currency.
    """
    if country is not None:
        return factors(currency, country)
    spoken = _SPOKEN.get((lang or "").replace("_", "-").split("-")[0].lower(), ())
    known = [c for c in spoken if CURRENCY_OF.get(c) == currency]
    if not known and len(home := [c for c in _RATES if CURRENCY_OF[c] == currency]) == 1:
        known = home  # one country pays in it
    return tuple(dict.fromkeys(f for c in known for f in factors(currency, c)))


def vat_factor(
    net: Decimal, gross: Decimal, currency: str | None, country: str | None
) -> Decimal | None:
    """The factor that leads from net to gross to within a cent of rounding, else None."""
    if net <= 0 or gross <= net:
        return None
    least = Decimal(1) if currency in _WHOLE else _CENT
    for factor in factors(currency, country):
        if abs(net * factor - gross) <= least or abs(gross / factor - net) <= least / 2:
            return factor
    return None
