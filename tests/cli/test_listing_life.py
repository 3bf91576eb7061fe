"""A listing moves, is cut, its past goes out and comes in: history is kept (common practice)."""

from __future__ import annotations

import pytest
from book_kit import CATALOGUE, MOTOR
from command import ebbmark

PAST = f"""listing,at,price,currency,availability
{MOTOR},2026-01-05T08:00:00Z,35.00,EUR,in_stock
{MOTOR},2026-02-05T08:00:00Z,35.00,EUR,in_stock
{MOTOR},2026-06-01T08:00:00Z,29.00,EUR,in_stock
{MOTOR},2026-06-03T08:00:00Z,29.00,EUR,in_stock
"""


@pytest.fixture
def db(tmp_path):
    url = f"sqlite:///{tmp_path / 'book.db'}"
    (tmp_path / "book.toml").write_text(CATALOGUE)
    (tmp_path / "past.csv").write_text(PAST)
    assert ebbmark("--db", url, "load", str(tmp_path / "book.toml")).code == 0
    ran = ebbmark("--db", url, "import", "history", str(tmp_path / "past.csv"))
    assert ran.out.strip() == "4 rows read, 4 new", ran.err
    return url


def prices(db, name):
    return [s["price"] for s in ebbmark("--db", db, "history", name, "--json").json["spells"]]


def test_import_twice_is_not_new(db, tmp_path):
    again = ebbmark("--db", db, "import", "history", str(tmp_path / "past.csv"))
    assert again.out.strip() == "4 rows read, 0 new"


def test_imported_prices_open_no_deal_for_the_past(db):
    assert ebbmark("--db", db, "deals", "--json").json == []


@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_export_and_import_are_the_same(db, tmp_path, name):
    out = tmp_path / name
    assert ebbmark("--db", db, "export", str(out)).code == 0
    other = f"sqlite:///{tmp_path / 'other.db'}"
    ebbmark("--db", other, "load", str(tmp_path / "book.toml"))
    ran = ebbmark("--db", other, "import", "history", str(out))
    assert ran.code == 0, ran.err
    first = ebbmark("--db", db, "history", MOTOR, "--json").json["spells"]
    assert ebbmark("--db", other, "history", MOTOR, "--json").json["spells"] == first


def test_relocate_keeps_the_history(db):
    ran = ebbmark("--db", db, "relocate", MOTOR, "https://motors.example/new/m")
    assert ran.code == 0, ran.err
    assert prices(db, "https://motors.example/new/m") == ["35.00", "29.00"]
    assert ebbmark("--db", db, "history", MOTOR).code == 2
    bad = ebbmark("--db", db, "relocate", "motors/motor", "file:///etc/passwd")
    assert bad.code == 2


def test_cut_keeps_what_was_before_apart(db):
    ran = ebbmark("--db", db, "cut", MOTOR, "--on", "2026-05-01")
    assert ran.code == 0, ran.err
    assert prices(db, MOTOR) == ["29.00"]
    assert prices(db, f"{MOTOR}@2026-05-01") == ["35.00"]


def test_a_parts_list_from_a_spreadsheet_of_ones_own(db, tmp_path):
    (tmp_path / "list.csv").write_text(
        "Teil;Menge;Gruppe\nOutrunner;1 Stück;Antrieb\nBattery;2 Stück;Antrieb\n"
    )
    args = ("--db", db, "import", "build", str(tmp_path / "list.csv"), "--build", "mine")
    shown = ebbmark(*args, "--preview")
    assert shown.code == 0, shown.out + shown.err
    assert ebbmark("--db", db, "reprice", "mine").code == 2  # nothing was written
    assert ebbmark(*args).code == 0
    lines = ebbmark("--db", db, "reprice", "mine", "--json").json["lines"]
    assert [(line["part"], line["amount"]) for line in lines] == [("motor", "1"), ("battery", "2")]
