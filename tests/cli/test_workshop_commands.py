"""Orders, stock, versions and companions from the command line.

Exit codes as documented (README, "Exit codes"); money as text with the currency's minor
units (ISO 4217).
"""

from __future__ import annotations

import shutil
from decimal import Decimal

import pytest
from book_kit import CATALOGUE
from command import ebbmark

MORE = """
[build.lighter]
name = "Lighter racer"
from = "racer"
currency = "EUR"
replace = [{ part = "battery", by = "pack-small" }]
[part.pack-small]
name = "Small battery"
unit = "piece"
class = ["lithium"]
spec = { cells = 3, capacity_mAh = 1300 }
"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """One database for all: the exchange rates that a new one gets take a second."""
    folder = tmp_path_factory.mktemp("filled")
    db, file = f"sqlite:///{folder / 'book.db'}", folder / "book.toml"
    file.write_text(CATALOGUE + MORE)
    assert ebbmark("--db", db, "load", str(file)).code == 0
    for part, shop, price in (
        ("motor", "motors", "30.00 EUR"),
        ("battery", "cells", "24.00 EUR"),
        ("pack-small", "cells", "9.00 EUR"),
    ):
        assert ebbmark("--db", db, "price", part, price, "--from", shop).code == 0
    return folder / "book.db"


@pytest.fixture
def run(tmp_path, filled):
    shutil.copy(filled, tmp_path / "book.db")

    def call(*args):
        return ebbmark("--db", f"sqlite:///{tmp_path / 'book.db'}", *args)

    call.tmp = tmp_path
    return call


def test_an_order_from_placing_to_refund(run):
    placed = run(
        "order", "place", "2 x motor @ 30.00 EUR", "--from", "motors", "--order", "A7",
        "--shipping", "4.95 EUR", "--estimate", "5.00 EUR", "--debited", "61.20 EUR", "--json",
    )  # fmt: skip
    assert placed.code == 0
    line = placed.json["lines"][0]
    assert (line["total"], line["debited"], line["state"]) == ("60.00", "61.20 EUR", "ordered")
    assert run("order", "arrive", "A7", "motor", "--count", "1").code == 0
    assert run("order", "wrong", "A7", "motor", "--count", "1").code == 0
    back = run("order", "return", "A7", "--postage", "3.00 EUR", "--refund", "30.60 EUR", "--json")
    assert back.json["lines"][0]["state"] == "arrived"
    billed = run("order", "bill", "A7", "customs", "6.00 EUR", "--json")
    assert billed.json["estimate_error"] == "1.00 EUR"
    sums = run("stock", "--json").json["money"]
    # 61.20 + 4.95 + 3.00 + 6.00; the bill is shared by price: half on hand, half returned
    assert (sums["out"], sums["on_hand"], sums["returned"]) == ("75.15", "33.60", "33.60")
    assert (sums["postage"], sums["back"]) == ("7.95", "30.60")
    assert "1 returned" in run("order", "list").out
    assert run("order", "list", "--open", "--json").json == []


def test_parts_in_use_and_out_of_use(run):
    assert run("buy", "motor", "--count", "3", "--total", "90.00 EUR").code == 0
    told = run("use", "motor", "--amount", "1", "--build", "racer", "--json").json
    assert (told["worth"], told["left"], told["unit"]) == ("30.00", "2", "piece")
    assert run("move", "motor", "--amount", "1", "--from", "racer", "--to", "lighter").code == 0
    assert run("sell", "motor", "25.00 EUR", "--amount", "1", "--build", "lighter").code == 0
    assert "worth 30.00 EUR" in run("write-off", "motor", "--amount", "1", "--note", "magnet").out
    short = run("use", "motor", "--amount", "5", "--build", "racer")
    assert short.code == 0
    assert "warning: " in short.err
    shown = run("stock").out
    assert "nothing on hand" in shown
    assert "written off 30.00" in shown


def test_versions_side_by_side(run):
    found = run("versions", "racer", "--json").json
    (pair,) = found["comparisons"]
    assert (pair["before"], pair["after"], pair["share"]) == ("racer", "lighter", "-15.00")
    assert run("versions", "racer", "lighter", "--json").json["comparisons"] == [pair]
    assert "-15.00" in run("versions", "lighter").out


def test_hints_are_added_or_dismissed_once_and_cautions_are_shown(run):
    found = run("companion", "list", "lighter", "--json").json
    rules = [hint["rule"] for hint in found]
    assert rules
    assert run("companion", "dismiss", "lighter", rules[0]).code == 0
    answer = run("reprice", "lighter", "--json").json
    assert rules[0] not in [hint["rule"] for hint in answer["companions"]]
    assert any("charge attended" in text for text in answer["cautions"])  # common practice
    assert run("companion", "dismiss", "lighter", rules[0]).code == 2
    own = run.tmp / "rules.toml"
    own.write_text("".join(f'[[rule]]\nid = "{rule}"\noff = true\n' for rule in rules))
    assert run("companion", "rules", str(own)).code == 0
    assert run("companion", "list", "lighter", "--json").json == []


def test_what_was_booked_is_dumped_and_loads_again_without_change(run):
    assert (
        run("order", "place", "2 x motor @ 30.00 EUR", "--from", "motors", "--order", "A7").code
        == 0
    )
    assert run("order", "place", "1 x glue @ 3.00 EUR", "--order", "A8").code == 0
    assert run("order", "cancel", "A8").code == 0
    dump = run("dump").out
    assert 'order = "A7"' in dump
    assert '{ what = "cancelled", on = ' in dump
    file = run.tmp / "again.toml"
    file.write_text(dump)
    assert run("load", str(file)).out.strip().endswith(": 0 changed")
    assert run("order", "show", "A7", "--json").json["lines"][0]["state"] == "ordered"


def test_a_friend_gets_the_build_without_prices(run):
    run("buy", "motor", "--count", "1", "--total", "33.33 EUR")
    public = run("dump", "--build", "lighter", "--public").out
    for word in ("33.33", "supplier", "listing", "purchase", "target"):
        assert word not in public
    file = run.tmp / "friend.toml"
    file.write_text(public)
    friend = f"sqlite:///{run.tmp / 'friend.db'}"
    assert ebbmark("--db", friend, "load", str(file)).code == 0
    answer = ebbmark("--db", friend, "reprice", "lighter", "--json").json
    assert answer["missing"] == ["motor", "pack-small"]
    assert answer["totals"]["complete"] is False


def test_paying_abroad_costs_what_the_settings_say(run, monkeypatch):
    config = run.tmp / "ebbmark.toml"
    config.write_text('payment = { markup = "1.5 %", fee = "0.30 EUR" }\n')
    before = run("reprice", "racer", "--json").json["totals"]["share"]
    monkeypatch.setenv("EBBMARK_CONFIG", str(config))
    assert run("reprice", "racer", "--json").json["totals"]["share"] == before  # its own currency
    run("price", "motor", "10.00 USD", "--from", "motors")
    line = run("reprice", "racer", "--json").json["lines"][0]
    want = Decimal("10.00") * Decimal(line["rate"]) * Decimal("1.015")
    assert abs(Decimal(line["share"]) - want) <= Decimal("0.005")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("order", "place", "motor"), "2 x battery-4s"),
        (("order", "show", "nope"), "no order"),
        (("order", "bill", "nope", "customs", "5"), "7.90 EUR"),
        (("order", "arrive", "nope", "--count", "x"), "not a number"),
        (("stock", "offcut", "motor", "big"), "no size"),
        (("stock", "good", "motor"), "shelf_life"),
        (("use", "motor", "--amount", "1", "--build", "nope"), "no build"),
        (("use", "motro", "--amount", "1", "--build", "racer"), "motor"),
        (("sell", "motor", "five", "--amount", "1"), "7.90 EUR"),
        (("versions", "nope"), "no build"),
        (("versions", "racer", "racer"), "two different"),
        (("companion", "add", "racer", "nope"), "no hint"),
        (("companion", "rules", "/nowhere.toml"), "cannot be read"),
    ],
)
def test_bad_input_says_what_to_do_and_ends_with_2(run, args, words):
    ran = run(*args)
    assert ran.code == 2
    assert words in ran.err
    assert "Traceback" not in ran.err
