"""`read_price` against published values: ISO 4217, CLDR, and a price reader's own cases."""

import json
from decimal import Decimal
from pathlib import Path

import iso4217
import pytest
from babel.localedata import locale_identifiers
from babel.numbers import format_currency
from hypothesis import given, settings
from hypothesis import strategies as st
from price_brief import brief

from scrapers.model import PriceText
from scrapers.texts import is_currency, minor_units, read_price
from scrapers.texts.locales import has_region, local_currency

SHARED = Path(__file__).parents[3].parent / "shared"

# ISO 4217 (amendment list of 2026-01-01, package iso4217 1.16); CLDR gives IQD and MGA 0
MINOR_UNITS = {
    "EUR": 2, "USD": 2, "JPY": 0, "KRW": 0, "KWD": 3, "BHD": 3, "TND": 3, "IQD": 3, "CLF": 4,
    "CLP": 0, "UYW": 4, "UYI": 0, "ISK": 0, "HUF": 2, "TWD": 2, "VND": 0, "MRU": 2, "MGA": 2,
}  # fmt: skip


@pytest.mark.parametrize(("code", "units"), MINOR_UNITS.items())
def test_minor_units(code: str, units: int) -> None:
    assert minor_units(code) == units


def test_every_code_of_the_table_agrees() -> None:
    for code, row in iso4217.raw_table.items():
        if code and str(row["CcyMnrUnts"]).isdigit():
            assert minor_units(code) == int(row["CcyMnrUnts"])


def test_unknown_currencies() -> None:
    assert not is_currency("BGN")  # Bulgaria took the euro on 2026-01-01
    assert not is_currency("eur")
    with pytest.raises(ValueError, match="write such as EUR"):
        minor_units("DEM")


# Values that a price field was seen to hold, and what each may be taken for; from memory of
# what number parsers accept (Python's Decimal: underscores, exponents, NaN, other digits).
VALUES = [
    ("0", "0 ?zero"),
    ("0.00", "0 ?zero"),
    ("-1", "?negative"),
    ("-0", "?negative"),
    ("NaN", "?not_a_number"),
    ("Infinity", "?not_a_number"),
    ("-Infinity", "?not_a_number"),
    ("1e999", "?markup"),
    ("1e-999", "?markup"),
    ("1e5", "?markup"),
    ("9" * 400, "?too_large"),
    ("9" * 10_000, "?too_large"),
    ("0.001", "?below_one_minor_unit"),
    ("12.345", "?separator"),
    ("1,234.56", "1234.56"),
    ("1.234,56", "1234.56"),
    ("1 234,56", "1234.56"),
    ("1\u00a0234,56", "1234.56"),
    ("1\u202f234,56", "1234.56"),
    ("1'234.50", "1234.5"),
    ("1,234", "?separator"),
    ("1.234", "?separator"),
    ("12,34", "12.34"),
    ("US$12", "12 USD"),
    ("$12", "12"),
    ("kr 12,-", "12"),
    ("¥1200", "1200 JPY"),
    ("1_234", "?markup"),
    ("12.34.56", "?separator"),
    ("from £12", "12 GBP low=12"),
    ("£12 - £15", "12 GBP low=12 high=15"),
    ("£12 £10", "10 GBP list=12"),
    ("12.34\u200b", "12.34"),
    ("\u202e43.21", "?bidi"),
    ("4 x £3", "GBP ?quantity_times_price"),
    ("true", "?not_a_number"),
    ("null", "None"),
    ("[12]", "?markup"),
]


@pytest.mark.parametrize(("text", "expected"), VALUES)
def test_value(text: str, expected: str) -> None:
    assert brief(read_price(text)) == expected


# Three decimals for the dinar, none for the yen: ISO 4217. Formatting by CLDR 48 (Babel).
ROUND_TRIPS = {
    "EUR": ("1234.56", "1234567.89", "0.99"),
    "USD": ("1234.56", "12.50"),
    "JPY": ("1234", "1234567"),
    "KWD": ("1234.567", "1.234"),
}
# Toki Pona groups by four; en, ta: several countries' dollar; China's own ¥ is the yuan.
ODD_GROUPS = {"tok", "tok_001"}
OPEN_SIGNS = {("en", "USD"), ("en_Dsrt", "USD"), ("ta", "USD"), ("yue_Hant_CN", "JPY")}


@pytest.mark.parametrize("currency", ROUND_TRIPS)
def test_babel_round_trip_in_every_locale(currency: str) -> None:
    wrong = []
    for locale in sorted(set(locale_identifiers()) - ODD_GROUPS):
        for value in ROUND_TRIPS[currency]:
            text = format_currency(Decimal(value), currency, locale=locale)
            read = read_price(text, locale=locale) or PriceText()
            known = read.currency == currency or (locale, currency) in OPEN_SIGNS
            if read.amount != Decimal(value) or read.doubt or not known:
                wrong.append((locale, text, brief(read)))
    assert wrong == []


@given(
    st.decimals(min_value="0.01", max_value="9999999", places=2),
    st.sampled_from(sorted(set(locale_identifiers()) - ODD_GROUPS)),
)
@settings(deadline=None, max_examples=300)
def test_babel_round_trip_of_any_amount(amount: Decimal, locale: str) -> None:
    read = read_price(format_currency(amount, "EUR", locale=locale), locale=locale)
    assert read is not None
    assert (read.amount, read.currency, read.doubt) == (amount, "EUR", None)


def test_locale_facts() -> None:
    # CLDR 48 supplemental data, territory currencies
    assert local_currency("en_AU") == "AUD"
    assert local_currency("de-CH") == "CHF"
    assert local_currency("en") is None
    assert not has_region("en")


# Where the reading of a price reader's own regular cases (price-parser's tests, BSD-3) is
# not ours, and why: the texts stand as the file has them.
DIFFERENCES = {
    "1250€600": "three digits after the sign are no cents",
    "$..75,333": "malformed, stays undecided",
    "$.75,333": "malformed, stays undecided",
    "$.750.30": "malformed, stays undecided",
    "129.900": "no currency: may be 129900 or 129.9",
    "320.000": "no currency: may be 320000 or 320",
    "3,49 zł 1,75 zł": "of two bare amounts the lower is paid",
    "6,000.00 руб. 5,500.00 руб.": "of two bare amounts the lower is paid",
    "€ 10.00 € 8.00 – € 10.00": "the low end of the range is the amount",
    "$ 281.40 $ 265.70": "of two bare amounts the lower is paid",
    "3200 руб. 1500 руб.": "of two bare amounts the lower is paid",
    "R$ 139,99 R$ 135,99": "of two bare amounts the lower is paid",
    "69 TL 41.90 TL": "of two bare amounts the lower is paid",
    "$ 791.00 $ 479.00": "of two bare amounts the lower is paid",
    "Price: $15.95/mo": "a monthly instalment is no price",
    "$30.56/Month": "a monthly instalment is no price",
    "र24,401": "the letter is no currency sign",
    "Před slevou 59 900 Kč": "before the reduction: a list price",
    "Was: $124.95 Now: $0.00": "now 0 is doubtful, the former price is not the price",
    "34.12 (40.94 inc VAT)": "net and gross together: the gross",
    "$24.99 with card": "a member's price",
    "571.12坪": "an area in tsubo",
}


@pytest.mark.skipif(
    not SHARED.exists(), reason="the corpus of price strings is not beside the tree"
)
@pytest.mark.parametrize("hinted", [False, True])
def test_price_reader_cases(hinted: bool) -> None:
    cases = json.loads((SHARED / "corpus" / "price_strings.json").read_text())["cases"]
    wrong = []
    for case in cases:
        read = read_price(case["price_raw"], currency=case["currency"] if hinted else None)
        expected = None if case["amount"] is None else Decimal(case["amount"])
        if (read.amount if read else None) != expected:
            wrong.append(case["price_raw"])
    assert set(wrong) <= set(DIFFERENCES)
    assert len(wrong) <= len(cases) * 0.03


@given(st.text(max_size=80))
@settings(deadline=None)
def test_no_text_raises(text: str) -> None:
    read = read_price(text)
    assert read is None or isinstance(read, PriceText)


FRAGMENTS = [
    "12", "9,99", "1.299", "1 234", "€", "$", "£", "kr", "EUR", "was ", "statt ", "ab ", " - ", "–",
    "/m", "per ", "kg", "10 Stück ", "x", "%", "(", ")", ",-", "inkl. MwSt. ", "zzgl. ", "Versand ",
    "2 for ", "3 pour 2", "+", ":", " ", "\u200f", "\u202e", "²", "½", "'", "save ", "1e9", "&nbsp;",
]  # fmt: skip


@given(
    st.lists(st.sampled_from(FRAGMENTS), max_size=9).map("".join),
    st.sampled_from([None, "de_DE", "en_AU", "ar_EG", "xx", "", "fr-CA"]),
    st.sampled_from([None, "EUR", "$", "KWD", "nonsense", ""]),
)
@settings(deadline=None, max_examples=600)
def test_no_shop_text_raises(text: str, locale: str | None, currency: str | None) -> None:
    read = read_price(text, locale=locale, currency=currency)
    if read is None or read.amount is None:
        return
    assert read.amount > 0 or read.doubt is not None
    assert read.low is None or read.low <= read.amount
    assert read.list_amount is None or read.list_amount > read.amount
    assert read.currency is None or is_currency(read.currency)


@given(st.text(max_size=10), st.text(max_size=5))
@settings(deadline=None, max_examples=50)
def test_any_context(locale: str, currency: str) -> None:
    read = read_price("1.234", locale=locale, currency=currency)
    assert read is not None
    assert read.amount in {None, Decimal(1234), Decimal("1.234")}
