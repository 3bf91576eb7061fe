"""Bad input: a clear message that says what to do, exit 2, nothing written.

Exit codes as documented (README, "Exit codes").
"""

from __future__ import annotations

import sqlite3

import pytest
from book_kit import CATALOGUE
from command import ebbmark

GOOD = CATALOGUE
PART = '[part.ply]\nname = "Ply"\nunit = "m2"\n'


@pytest.fixture
def db(tmp_path):
    return f"sqlite:///{tmp_path / 'book.db'}"


def load(tmp_path, db, text):
    file = tmp_path / "bad.toml"
    file.write_text(text)
    return ebbmark("--db", db, "load", str(file))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[part.x\n", ("bad.toml", "line 1")),
        (PART + "colour = 1\n", ("bad.toml", "part.ply", "colour")),
        (
            '[build.b]\nname = "B"\ncurrency = "EUR"\nlines = [{ part = "nowhere", amount = "1 piece" }]\n',
            ("bad.toml", "build.b", "nowhere"),
        ),
        (
            PART
            + '[supplier.s]\nname = "S"\n[[part.ply.listing]]\nsupplier = "s"\nsold_as = "300 g"\n',
            ("bad.toml", "part.ply", "300 g"),
        ),
        (
            PART
            + '[build.b]\nname = "B"\ncurrency = "EUR"\nlines = [{ part = "ply", amount = "-1 m2" }]\n',
            ("bad.toml", "build.b", "-1 m2"),
        ),
        ('[build.b]\nname = "B"\ncurrency = "XXQ"\nlines = []\n', ("bad.toml", "XXQ", "ISO 4217")),
        (
            PART
            + '[supplier.s]\nname = "S"\n[[part.ply.listing]]\nsupplier = "s"\nurl = "ftp://s.example/x"\nsold_as = "1 m2"\n',
            ("bad.toml", "ftp://s.example/x", "http"),
        ),
    ],
    ids=["syntax", "unknown key", "unknown part", "dimension", "negative", "currency", "scheme"],
)
def test_a_bad_catalogue_writes_nothing(tmp_path, db, text, words):
    assert load(tmp_path, db, GOOD).code == 0
    before = ebbmark("--db", db, "dump").out
    ran = load(tmp_path, db, text)
    assert ran.code == 2
    for word in words:
        assert word in ran.err
    assert "Traceback" not in ran.err
    assert ebbmark("--db", db, "dump").out == before


def test_all_errors_at_once(tmp_path, db):
    text = (
        PART
        + 'colour = 1\n[build.b]\nname = "B"\ncurrency = "XXQ"\nlines = [{ part = "no", amount = "0 m2" }]\n'
    )
    ran = load(tmp_path, db, text)
    assert ran.code == 2
    assert len(ran.err.strip().splitlines()) >= 4


def test_loading_twice_changes_nothing(tmp_path, db):
    assert load(tmp_path, db, GOOD).out.strip().endswith(": 10 changed")
    again = load(tmp_path, db, GOOD)
    assert again.code == 0
    assert again.out.strip().endswith(": 0 changed")


def test_dry_run_writes_nothing(tmp_path, db):
    file = tmp_path / "book.toml"
    file.write_text(GOOD)
    ran = ebbmark("--db", db, "load", "--dry-run", str(file))
    assert (ran.code, "nothing written" in ran.out) == (0, True)
    assert "motor" not in ebbmark("--db", db, "dump").out


@pytest.mark.parametrize(
    ("args", "word"),
    [
        (("price", "motor", "7.90", "--from", "motors"), '"7.90 EUR"'),
        (("price", "motor", "7,90 EUR", "--from", "motors"), '"7.90 EUR"'),
        (("price", "motor", "-1 EUR", "--from", "motors"), "more than 0"),
        (("price", "motor", "0 EUR", "--from", "motors"), "more than 0"),
        (("price", "moter", "7.90 EUR", "--from", "motors"), "did you mean motor"),
        (("price", "motor", "7.90 EUR", "--from", "nobody"), "nobody"),
        (("price", "motor", "7.90 EUR", "--from", "motors", "--sold-as", "3 kg"), "piece"),
        (("price", "motor", "7.90 EUR", "--from", "motors", "--on", "yesterday"), "2026-11-24"),
        (("buy", "motor", "--count", "x", "--price", "1 EUR"), "not a number"),
        (("buy", "motor", "--count", "1"), "exactly one of --price"),
        (("buy", "motor", "--count", "-1", "--price", "1 EUR"), "more than 0"),
        (("reprice", "nothing"), "racer"),
        (("reprice", "racer", "--at", "soon"), "2026-11-24"),
        (("history", "nothing"), "nothing"),
        (("accept", "https://motors.example/m"), "no reading is kept aside"),
        (("reject", "nothing"), "no listing"),
        (("remove", "nothing"), "no listing"),
        (("poll", "nothing"), "no listing"),
        (("read", "no-such-file.html"), "neither a file nor"),
        (("read", "ftp://x.example/"), "neither a file nor"),
        (("add", "https://motors.example/m", "--part", "motor"), "already"),
        (("add", "gopher://motors.example/m", "--part", "motor"), "http"),
        (("notify", "--test", "pigeon"), "log"),
        (("import", "history", "none.csv"), "none.csv"),
        (("load", "none.toml"), "none.toml"),
    ],
)
def test_commands_say_what_to_do(tmp_path, db, args, word):
    assert load(tmp_path, db, GOOD).code == 0
    ran = ebbmark("--db", db, *args)
    assert ran.code == 2, ran.out + ran.err
    assert word in ran.err
    assert "Traceback" not in ran.err


def test_a_database_of_a_newer_schema_is_left_alone(tmp_path, db):
    load(tmp_path, db, GOOD)
    file = tmp_path / "book.db"
    with sqlite3.connect(file) as connection:
        connection.execute("update ebbmark_version set version_num = '9999'")
    connection.close()
    before = file.read_bytes()
    ran = ebbmark("--db", db, "deals")
    assert ran.code == 2
    assert "newer" in ran.err
    assert str(file) in ran.err
    assert file.read_bytes() == before


def test_not_a_database(tmp_path):
    file = tmp_path / "notes.db"
    file.write_text("a shopping list, not a database " * 10)
    ran = ebbmark("--db", f"sqlite:///{file}", "deals")
    assert ran.code == 2
    assert str(file) in ran.err
    assert file.read_text().startswith("a shopping list")


@pytest.mark.parametrize(
    ("name", "value", "word"),
    [
        ("EBBMARK_CONTACT", "nobody", "mail address"),
        ("EBBMARK_CURRENCY", "EURO", "ISO 4217"),
        ("EBBMARK_TIME_ZONE", "Mars/North", "IANA"),
        ("EBBMARK_DESTINATION", "Holland", "two letters"),
        ("EBBMARK_ALLOW_HOSTS", "*.local", "exact host names"),
        ("EBBMARK_WORKERS", "many", "whole number"),
        ("EBBMARK_COLOUR", "red", "no such setting"),
        ("EBBMARK_DB", "mysql://x/y", "sqlite:///"),
    ],
)
def test_bad_settings(monkeypatch, name, value, word):
    monkeypatch.setenv(name, value)
    ran = ebbmark("deals")
    assert ran.code == 2
    assert word in ran.err


def test_a_settings_file_with_a_typing_error(tmp_path, monkeypatch):
    file = tmp_path / "ebbmark.toml"
    file.write_text('contcat = "me@club.example"\npayment = { markup = "two" }\n')
    monkeypatch.setenv("EBBMARK_CONFIG", str(file))
    ran = ebbmark("deals")
    assert ran.code == 2
    assert "contcat: no such setting" in ran.err
    assert '"1.5 %"' in ran.err


@pytest.mark.parametrize(
    ("rules", "word"),
    [
        ('price = "css:p["', "no CSS selector"),
        ('price = "re:(?=a)1"', "looks ahead"),
        ("price = 1", "in quotes"),
    ],
)
def test_a_rule_that_cannot_be_used_is_told_before_the_page_is_read(tmp_path, rules, word):
    page, own = tmp_path / "page.html", tmp_path / "rules.toml"
    page.write_text("<h1>Part</h1><p class=price>£5.00</p>")
    own.write_text(rules)
    ran = ebbmark("read", str(page), "--rules", str(own))
    assert ran.code == 2
    assert word in ran.err
