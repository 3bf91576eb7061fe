"""Delivered at the command line, in files and for targets; sums of the day by hand beside each."""

from __future__ import annotations

import pytest
from command import ebbmark

BOOK = """
[supplier.quillfeather]
name = "Quillfeather Models"
country = "NL"
currency = "EUR"
shipping = [{ to = "NL", fee = "4.95", free_from = "75.00" }, { to = "*", fee = "12.50" }]
fee = [{ name = "packing", amount = "0.90" }]
[supplier.mute]
name = "Mute"
country = "NL"
currency = "EUR"
[part.glue]
name = "Glue"
unit = "g"
[part.rod]
name = "Rod"
[part.band]
name = "Band"
[build.b]
name = "B"
currency = "EUR"
budget = "20.00"
lines = [{ part = "glue", amount = "100 g" }, { part = "rod", amount = "2 pieces" }]
[build.c]
name = "C"
currency = "EUR"
lines = [{ part = "band", amount = "1 piece" }, { part = "rod", amount = "2 pieces" }]
[[target]]
build = "b"
within_budget = "delivered"
"""


@pytest.fixture
def book(tmp_path, monkeypatch):
    (tmp_path / "book.toml").write_text(BOOK)
    settings = tmp_path / "ebbmark.toml"
    settings.write_text('destination = "NL"\npayment = { fee = "0.30 EUR" }\n')
    monkeypatch.setenv("EBBMARK_CONFIG", str(settings))
    monkeypatch.setenv("EBBMARK_DB", f"sqlite:///{tmp_path / 'book.db'}")
    assert ebbmark("load", str(tmp_path / "book.toml")).code == 0
    ebbmark("price", "rod", "3.00 EUR", "--from", "quillfeather")
    ebbmark("price", "band", "2.00 EUR", "--from", "mute")
    return tmp_path


def test_delivered_in_json_and_in_the_terminal(book):
    ebbmark("price", "glue", "8.00 EUR", "--from", "quillfeather", "--sold-as", "250 g")
    found = ebbmark("reprice", "b", "--json").json
    # 8.00 and 6.00 share 4.95 + 0.90 = 5.85 by price: 3.342857 and 2.507143
    assert [line["delivered"] for line in found["lines"]] == ["11.34", "8.51"]
    assert found["totals"]["delivered"] == "19.85"
    assert found["groups"][0]["delivered"] == "19.85"
    told = ebbmark("reprice", "b").out
    assert "to spend 14.00 EUR, delivered 19.85 EUR" in told
    assert "order at quillfeather: goods 14.00, shipping 4.95, packing 0.90: 19.85 EUR" in told


def test_a_supplier_that_says_nothing_of_shipping_is_named(book):
    found = ebbmark("reprice", "c", "--json").json
    assert [line["delivered"] for line in found["lines"]] == [None, "11.85"]
    assert found["totals"]["delivered"] is None
    assert found["totals"]["to_spend"] == "8.00"
    assert any("[supplier.mute]" in text and '"NL"' in text for text in found["warnings"])


def test_delivered_for_another_country(book):
    ebbmark("price", "glue", "8.00 EUR", "--from", "quillfeather", "--sold-as", "250 g")
    found = ebbmark("reprice", "b", "--country", "DE", "--json").json
    # 21 % of NL gives way to 19 % of DE: 7.87 and 2 x 2.95 = 5.90; then 12.50 and 0.90
    assert found["totals"]["to_spend"] == "13.77"
    assert found["totals"]["delivered"] == "27.17"


def test_the_column_in_files(book):
    ebbmark("price", "glue", "8.00 EUR", "--from", "quillfeather", "--sold-as", "250 g")
    ebbmark("reprice", "b", "--md", str(book / "b.md"), "--columns", "to_spend,delivered")
    assert "| **Total** |  |  | **14.00** | **19.85** |" in (book / "b.md").read_text()
    assert "beside the goods (shipping 4.95, packing 0.90)." in (book / "b.md").read_text()
    ebbmark("reprice", "b", "--csv", str(book / "b.csv"))
    rows = (book / "b.csv").read_text().splitlines()
    assert '"delivered"' in rows[0]
    assert "19.85" in rows[-1]
    ebbmark("reprice", "c", "--md", str(book / "c.md"), "--columns", "delivered")
    text = (book / "c.md").read_text()
    assert "| **Total** |  |  | **not known** |" in text
    assert "Not counted: shipping, duty and fees" in text


def test_a_target_within_budget_delivered(book):
    """14.00 is within 20.00 and so is 19.85 delivered, but not 20.10."""
    ebbmark("price", "glue", "8.25 EUR", "--from", "quillfeather", "--sold-as", "250 g")
    assert ebbmark("deals", "--json").json == []
    ebbmark("price", "glue", "8.00 EUR", "--from", "quillfeather")
    (deal,) = ebbmark("deals", "--json").json
    assert (deal["state"], deal["price"]) == ("open", "19.85")
    assert deal["evidence"][0]["field"] == "delivered"


def test_the_fee_of_paying_abroad_is_in_delivered_by_name(book):
    ebbmark("price", "glue", "10.00 USD", "--from", "quillfeather", "--sold-as", "250 g")
    (order,) = ebbmark("reprice", "b", "--json").json["orders"]
    assert {"name": "payment fee", "cost": "0.30"} in order["charges"]
    assert not any(
        "not in the sums" in w for w in ebbmark("reprice", "b", "--json").json["warnings"]
    )


AFAR = """
[supplier.afar]
name = "Afar"
country = "US"
currency = "EUR"
shipping = [{ to = "*", fee = "8.00" }]
[part.motor]
name = "Motor"
tariff_group = "motor"
[part.plug]
name = "Plug"
tariff_group = "plug"
[build.d]
name = "D"
currency = "EUR"
lines = [{ part = "motor", amount = "1 piece" }, { part = "plug", amount = "1 piece" }]
"""


def test_own_rules_of_the_border(book, monkeypatch):
    """Goods 52.00, shipping 8.00, 3.00 of duty for each of two tariff groups (Council Regulation
    (EU) 2026/382), 21 % of 66.00 are 79.86; the carrier of the user's own file asks 12.50.
    """
    (book / "afar.toml").write_text(AFAR)
    assert ebbmark("load", str(book / "afar.toml")).code == 0
    ebbmark("price", "motor", "40.00 EUR", "--from", "afar")
    ebbmark("price", "plug", "12.00 EUR", "--from", "afar")
    (book / "own.toml").write_text('[country.NL]\nhandling = "12.50 EUR"\n')
    monkeypatch.setenv("EBBMARK_IMPORT_COST", str(book / "own.toml"))
    found = ebbmark("reprice", "d", "--json").json
    assert found["totals"]["delivered"] == "92.36"
    assert {"name": "customs clearance", "cost": "12.50"} in found["orders"][0]["charges"]
    (book / "own.toml").write_text('[country.NL]\nhandlin = "12.50 EUR"\n')
    ran = ebbmark("reprice", "d")
    assert (ran.code, "handlin: no such key" in ran.err) == (2, True)
    monkeypatch.setenv("EBBMARK_IMPORT_COST", str(book / "none.toml"))
    assert "none.toml cannot be read" in ebbmark("reprice", "d").err
