"""A fee of an order abroad is told beside the sums (common practice: it is of the payment)."""

from __future__ import annotations

from command import ebbmark

BOOK = """
[supplier.far]
name = "Far Shop"
country = "US"
currency = "USD"
[supplier.near]
name = "Near Shop"
country = "NL"
currency = "EUR"
[part.motor]
name = "Motor"
unit = "piece"
[part.glue]
name = "Glue"
unit = "piece"
[build.b]
name = "B"
currency = "EUR"
lines = [{ part = "motor", amount = "1 piece" }, { part = "glue", amount = "1 piece" }]
"""


def test_the_fee_is_told_where_goods_come_from_abroad(tmp_path, monkeypatch):
    (tmp_path / "book.toml").write_text(BOOK)
    settings = tmp_path / "ebbmark.toml"
    settings.write_text('payment = { fee = "0.30 EUR" }\n')
    monkeypatch.setenv("EBBMARK_CONFIG", str(settings))
    monkeypatch.setenv("EBBMARK_DB", f"sqlite:///{tmp_path / 'book.db'}")
    assert ebbmark("load", str(tmp_path / "book.toml")).code == 0
    ebbmark("price", "glue", "5.00 EUR", "--from", "near")
    ebbmark("price", "motor", "20.00 EUR", "--from", "near")
    assert not any("paying" in w for w in ebbmark("reprice", "b", "--json").json["warnings"])
    ebbmark("price", "motor", "10.00 USD", "--from", "far")
    told = ebbmark("reprice", "b", "--json").json["warnings"]
    assert "paying abroad: 0.30 EUR an order, for 1 suppliers; not in the sums" in told
