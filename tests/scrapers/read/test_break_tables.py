"""Tables of quantity prices, by construction: what one piece costs is known before the page is.

Sources: common practice of component shops (labels of the first column, unit prices of three
and more decimals, a column of sums or of prices with tax); standard VAT rates of the European
Commission's table of rates (2025); separators of CLDR.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import ROUND_HALF_UP, Decimal
from itertools import product

import pytest

from scrapers.model import Page
from scrapers.read import read_page

AT = datetime(2026, 11, 24, tzinfo=UTC)
CENT = Decimal("0.01")
SIGNS = {"en-US": ("${}", "USD"), "en-GB": ("£{}", "GBP"), "de": ("{} €", "EUR"),
         "nl": ("€ {}", "EUR"), "pl": ("{} zł", "PLN")}  # fmt: skip
FIRST = {"plus": "{}+", "plain": "{}", "least": "&gt;= {}"}
COLUMNS = {"en-GB": ("ex VAT", "inc VAT", Decimal("1.20")), "de": ("netto", "brutto", Decimal("1.19")),
           "nl": ("excl. btw", "incl. btw", Decimal("1.21"))}  # fmt: skip
ROWS = {
    2: ((1, "12.40"), (10, "11.16"), (50, "9.80")),
    3: ((1, "2.145"), (10, "1.862"), (100, "1.214")),
    4: ((1, "0.9146"), (30, "0.7512"), (500, "0.5612")),
}


def money(amount: Decimal, lang: str, decimals: int) -> str:
    text = f"{amount:,.{decimals}f}"
    if not lang.startswith("en"):
        text = text.translate({ord(","): ".", ord("."): ","})
    return SIGNS[lang][0].format(text)


def receipt(amount: Decimal) -> Decimal:
    return amount.quantize(CENT, ROUND_HALF_UP)


def page(lang: str, decimals: int, first: str, more: str, offer: object = None) -> bytes:
    rows = []
    for least, text in ROWS[decimals]:
        unit = Decimal(text)
        cells = [FIRST[first].format(least), money(unit, lang, decimals)]
        if more == "sum":
            cells.append(money(receipt(unit * least), lang, 2))
        if more == "tax":
            cells.append(money(receipt(unit * COLUMNS[lang][2]), lang, 2))
        rows.append("".join(f"<td>{cell}</td>" for cell in cells))
    head = "".join(f"<th>{h}</th>" for h in COLUMNS[lang][:2]) if more == "tax" else "<th></th>"
    table = "".join(f"<tr>{row}</tr>" for row in (f"<th></th>{head}", *rows))
    data = {"@context": "https://schema.org", "@type": "Product", "name": "NX4012", "offers": offer}
    markup = f'<script type="application/ld+json">{json.dumps(data)}</script>' if offer else ""
    return (
        f'<!doctype html><html lang="{lang}"><head><title>NX4012 | Drumlin</title>{markup}</head>'
        f"<body><main><h1>NX4012</h1><p>gate driver</p><table>{table}</table>"
        "<button>Add to cart</button></main></body></html>"
    ).encode()


def read(body: bytes) -> tuple[str, Decimal | None, str | None]:
    made = read_page(Page("https://drumlin.example/p/nx4012", body, "text/html", AT))
    return str(made.outcome), made.price, made.currency


@pytest.mark.parametrize(
    ("lang", "decimals", "first", "more"), [*product(SIGNS, ROWS, FIRST, ("", "sum"))]
)
def test_one_piece_costs_what_its_row_says(lang: str, decimals: int, first: str, more: str) -> None:
    want = receipt(Decimal(ROWS[decimals][0][1]))
    assert read(page(lang, decimals, first, more)) == ("ok", want, SIGNS[lang][1])


@pytest.mark.parametrize(("lang", "decimals", "first"), [*product(COLUMNS, ROWS, FIRST)])
def test_a_column_with_tax_is_what_is_paid(lang: str, decimals: int, first: str) -> None:
    unit = Decimal(ROWS[decimals][0][1])
    want = receipt(unit * COLUMNS[lang][2])
    offer = {"@type": "Offer", "price": str(unit), "priceCurrency": SIGNS[lang][1]}
    assert read(page(lang, decimals, first, "tax")) == ("ok", want, SIGNS[lang][1])
    assert read(page(lang, decimals, first, "tax", offer)) == ("ok", want, SIGNS[lang][1])


@pytest.mark.parametrize(("lang", "decimals"), [*product(SIGNS, ROWS)])
def test_a_range_in_the_markup_is_that_of_the_rows(lang: str, decimals: int) -> None:
    prices = [text for _, text in ROWS[decimals]]
    offer = {"@type": "AggregateOffer", "lowPrice": prices[-1], "highPrice": prices[0],
             "priceCurrency": SIGNS[lang][1], "offerCount": 3}  # fmt: skip
    want = receipt(Decimal(prices[0]))
    assert read(page(lang, decimals, "plus", "", offer)) == ("ok", want, SIGNS[lang][1])
