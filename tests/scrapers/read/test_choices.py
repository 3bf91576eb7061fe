"""Choices that name their price, and the one a listing means. Sources: common practice of shops."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from scrapers import Page, Reading, SiteRules, read_page
from scrapers.readers.choicetext import priced_choice

WHOLE = [
    ("10 cm - 12,90 €", "10 cm", "12.90"),
    ("2 mm (£4.50)", "2 mm", "4.50"),
    ("Pack of 10: $18.00", "Pack of 10", "18.00"),
    ("200g · EUR 8,90", "200g", "8.90"),
    ("Große Dose 19,90 EUR*", "Große Dose", "19.90"),
    ("250 ml | 12,50 € inkl. MwSt", "250 ml", "12.50"),
    ("A - 1.299,- kr", "A", "1299"),
    ("38 - 29,90 kr", "38", "29.90"),
]
NONE = [
    "3 mm +2,00 €",
    "3 mm (+ €2.00)",
    "Rot -3,00 €",
    "Bitte wählen",
    "Size 12",
    "€12",
    "A - 1 299 kr",  # 1299, or A - 1 for 299
    "5 m - €12,00 / m",
    "2 year warranty $19.00",
]


@pytest.mark.parametrize(("text", "name", "price"), WHOLE)
def test_a_whole_price_behind_its_choice(text: str, name: str, price: str) -> None:
    made = priced_choice(text, "de", "EUR")
    assert made is not None
    assert (made.name, made.price) == (name, Decimal(price))


@pytest.mark.parametrize("text", NONE)
def test_a_difference_a_service_or_an_open_number_is_none(text: str) -> None:
    assert priced_choice(text, "de", "EUR") is None


LIST = """<html lang="en"><h1>Balsa sheet 1 m</h1><form action="/cart/add"><select name="t">
<option value="">Choose</option><option>1 mm - £2.40</option><option>3 mm - £3.90</option>
<option disabled>6 mm - £5.20 (sold out)</option><option>10 mm - £8.10</option>
</select><button>Add to cart</button></form></html>"""


def read(html: str, choice: str | None) -> Reading:
    page = Page("https://balsa.example/1", html.encode(), "text/html", datetime.now(UTC))
    return read_page(page, SiteRules(choice=choice))


def test_the_listing_means_one_of_the_list() -> None:
    made = read(LIST, "3 mm")
    assert (made.outcome, made.price, made.currency) == ("ok", Decimal("3.90"), "GBP")
    assert any(e.field == "price" and e.value == "3.90" for e in made.evidence)


def test_a_choice_that_is_gone_is_told() -> None:
    made = read(LIST, "4 mm")
    assert made.outcome == "doubtful"
    assert "4 mm" in (made.reason or "")


def test_without_a_choice_the_list_is_told_with_its_ends() -> None:
    made = read(LIST, None)
    assert (made.outcome, made.reason) == ("doubtful", "choice needed")
    assert (made.low, made.high, made.currency) == (Decimal("2.40"), Decimal("8.10"), "GBP")
    proofs = {e.field: e.value for e in made.evidence}
    assert (proofs["low"], proofs["high"]) == ("1 mm: 2.40", "10 mm: 8.10")
    assert [c.name for c in made.choices] == ["1 mm", "3 mm", "6 mm", "10 mm"]
    assert [c.availability for c in made.choices if c.name == "6 mm"] == ["out_of_stock"]
