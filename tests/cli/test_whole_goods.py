"""A plate bought whole and hinges in pairs, from the catalogue to what commands show.

Common practice: who needs one piece buys the plate that costs least, not the one that costs
least a square metre; hinges are counted in pairs. Sums by hand beside each.
"""

from __future__ import annotations

import pytest
from command import ebbmark
from plates_book import BOOK


@pytest.fixture
def run(tmp_path):
    """9.00 for 0.25 m2 and 20.00 for a m2; four pairs for 4.00, of which two were bought."""
    db = f"sqlite:///{tmp_path / 'book.db'}"
    (tmp_path / "book.toml").write_text(BOOK)

    def call(*args):
        answer = ebbmark("--db", db, *args)
        assert answer.code == 0, answer.err
        return answer

    call("load", str(tmp_path / "book.toml"))
    call("price", "ply", "20.00 EUR", "--from", "dunnock", "--sold-as", "1 m2")
    call("price", "ply", "9.00 EUR", "--from", "pipit", "--sold-as", "0.25 m2")
    call("price", "hinge", "4.00 EUR", "--from", "dunnock", "--sold-as", "4 pairs")
    return call


def test_reprice_plan_and_deals_name_the_same_plate(run) -> None:
    found = run("reprice", "wren", "--json").json
    plate, hinges = found["lines"]
    assert (plate["supplier"], plate["share"], plate["to_spend"]) == ("pipit", "9.00", "9.00")
    assert (hinges["share"], hinges["to_spend"]) == ("3.00", "4.00")
    assert (found["totals"]["share"], found["totals"]["to_spend"]) == ("12.00", "13.00")
    plan = run("plan", "wren", "--json").json
    assert plan["totals"]["goods"] == "13.00"
    bought = {order["supplier"] for order in plan["orders"]}
    assert bought == {"pipit", "dunnock"}
    (deal,) = run("deals", "--json").json
    assert (deal["subject"], deal["price"], deal["state"]) == ("wren", "12.00", "open")


def test_stock_counts_pairs_and_paid_counts_the_plate(run) -> None:
    run("buy", "hinge", "--count", "1", "--price", "2.00 EUR", "--sold-as", "2 pairs")
    run("buy", "ply", "--count", "1", "--price", "8.00 EUR", "--sold-as", "0.25 m2")
    out = run("stock").out
    assert "2 pairs" in out
    assert "pieces" not in out
    hinge = run("stock", "--json").json["on_hand"][0]
    assert (hinge["part"], hinge["amount"], hinge["unit"]) == ("hinge", "2", "pair")
    plate, hinges = run("reprice", "wren", "--json").json["lines"]
    assert (plate["paid"], plate["to_spend"]) == ("8.00", "0.00")
    assert (hinges["on_hand"], hinges["paid"], hinges["to_spend"]) == ("2", "2.00", "4.00")
    assert "paid covers 2 of 3 pair" in hinges["hint"]
    told = run("use", "hinge", "--amount", "1", "--build", "wren", "--json").json
    assert (told["amount"], told["unit"], told["left"]) == ("1", "pair", "1")
