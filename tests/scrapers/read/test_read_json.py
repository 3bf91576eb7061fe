"""The object of `ebbmark read --json`: its keys are a contract, its money is text."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from scrapers.model import (
    Choice,
    Evidence,
    Ids,
    Multibuy,
    Outcome,
    Page,
    Reading,
    SiteRules,
    Source,
    UnitPrice,
)
from scrapers.read import read_page
from scrapers.read_json import money, reading_to_json

KEYS = [
    "page", "url", "outcome", "reason", "title", "price", "currency", "list_price", "low", "high",
    "availability", "tax", "unit_price", "sold_as", "ids", "spec", "choices", "multibuy",
    "member_price", "shipping", "source", "evidence",
]  # fmt: skip
FULL = Reading(
    outcome=Outcome.OK,
    price=Decimal("12.5"),
    currency="EUR",
    unit_price=UnitPrice(Decimal("4.9"), "m2"),
    ids=Ids(sku="B3"),
    choices=(Choice("20 mm", "B3-20", Decimal("12.5")),),
    multibuy=(Multibuy(10, Decimal(9), "each"),),
    source=Source.JSONLD,
    evidence=(Evidence("jsonld", "price", "12.5", "ld+json[0].offers"),),
)


def test_keys_are_the_contract() -> None:
    made = reading_to_json("p.html", "https://shop.example/p", FULL)
    assert list(made) == KEYS
    assert made["price"] == "12.50"
    assert made["unit_price"] == {"price": "4.90", "per": "m2"}
    assert made["choices"][0] == {
        "name": "20 mm", "sku": "B3-20", "price": "12.50", "currency": "EUR", "availability": "unknown",
    }  # fmt: skip
    assert made["multibuy"] == [{"quantity": 10, "price": "9.00", "per": "each"}]
    assert made["list_price"] is None
    assert json.loads(json.dumps(made)) == made


# ISO 4217 exponents: JPY 0, EUR 2, KWD 3.
@pytest.mark.parametrize(
    ("amount", "currency", "text"),
    [
        ("1980", "JPY", "1980"),
        ("12.5", "EUR", "12.50"),
        ("1.25", "KWD", "1.250"),
        ("1E+2", "EUR", "100.00"),
    ],
)
def test_money_has_the_currencys_minor_units(amount: str, currency: str, text: str) -> None:
    assert money(Decimal(amount), currency) == text


def test_an_empty_reading_is_all_null() -> None:
    made = reading_to_json("p", "u", replace(Reading(Outcome.BROKEN), reason="cut"))
    assert made["price"] is made["currency"] is made["source"] is made["unit_price"] is None
    assert made["choices"] == made["multibuy"] == made["evidence"] == []


def test_the_supplier_decides_tax_where_the_page_is_silent() -> None:
    body = b'<h1>Tube</h1><p class="price">\xc2\xa37.95</p><button>Add to basket</button>'
    page = Page("https://tube.example/p", body, "text/html", datetime(2026, 11, 24, tzinfo=UTC))
    assert read_page(page, SiteRules(prices="without-tax")).tax == "excluded"
    assert read_page(page, SiteRules(prices="with-tax")).tax == "included"
    assert read_page(page).tax == "unknown"
