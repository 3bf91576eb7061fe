"""What the commands say to people: one of a thing, whose price, above or below, and what to do.

Common practice, each found by using the program.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from book_kit import CATALOGUE, CELLS, MOTOR
from command import ebbmark


@pytest.fixture
def db(tmp_path):
    url = f"sqlite:///{tmp_path / 'book.db'}"
    catalogue = CATALOGUE.replace(
        'currency = "EUR"\nlines', 'currency = "EUR"\nbudget = "50"\nlines'
    )
    (tmp_path / "book.toml").write_text(catalogue)
    assert ebbmark("--db", url, "load", str(tmp_path / "book.toml")).code == 0
    return url


def said(db, *args):
    ran = ebbmark("--db", db, *args)
    return ran.out + ran.err


def past(db, tmp_path, *rows):
    text = "listing,at,price,currency,availability\n" + "".join(f"{row}\n" for row in rows)
    (tmp_path / "past.csv").write_text(text)
    return ebbmark("--db", db, "import", "history", str(tmp_path / "past.csv"))


def day(ago):
    return f"{datetime.now(UTC) - timedelta(days=ago):%Y-%m-%dT%H:%M:%SZ}"


def test_a_wrong_name_and_a_day_to_come_are_told_with_their_rows(db, tmp_path):
    ran = past(
        db, tmp_path, f"{MOTOR},{day(9)},30,EUR,", f"motors/motr,{day(9)},30,EUR,", f"{MOTOR},2999-01-01,30,EUR,"
    )  # fmt: skip
    assert ran.code == 2
    first, second = ran.err.splitlines()
    assert first.startswith(f"{tmp_path / 'past.csv'}: row 3: ")
    assert "motors/motr" in first
    assert ": row 4: at: 2999-01-01 lies in the future" in second
    assert "no price" in said(db, "reprice", "racer"), "nothing of the file was kept"


def test_one_row_is_a_row(db, tmp_path):
    assert past(db, tmp_path, f"{MOTOR},{day(9)},30,EUR,").out == "1 row read, 1 new\n"


def test_a_new_catalogue_is_one_line_of_check(db):
    out = said(db, "check")
    assert "2 pages: no price yet; run: ebbmark poll\n" in out
    assert MOTOR not in out
    assert len(ebbmark("--db", db, "check", "--json").json) >= 2


def test_a_budget_beside_a_total_that_lacks_a_price(db, tmp_path):
    past(db, tmp_path, f"{MOTOR},{day(0.1)},30,EUR,")
    assert "in this model at most 20.00 below it" in said(db, "reprice", "racer")
    past(db, tmp_path, f"{MOTOR},{day(0.05)},80,EUR,")
    assert "in this model at least 30.00 above it" in said(db, "reprice", "racer")
    past(db, tmp_path, f"{CELLS},{day(0.05)},40,EUR,")
    assert "in this model 50.00 above it" in said(db, "reprice", "racer")


def test_an_old_price_is_so_many_days_old(db, tmp_path):
    past(db, tmp_path, f"{MOTOR},{day(30.5)},30,EUR,")
    assert "stale, 30 days" in said(db, "reprice", "racer")
    assert "price last seen 30 days ago" in said(db, "check")
    past(db, tmp_path, f"{MOTOR},{day(2.5)},30,EUR,")
    assert "stale, 60 h" in said(db, "reprice", "racer")


def test_spells_of_a_part_name_their_pages(db, tmp_path):
    past(db, tmp_path, f"{MOTOR},{day(9)},30,EUR,")
    assert said(db, "history", "motor").count(MOTOR) == 0, "one page needs no name beside it"
    said(db, "price", "motor", "28.00 EUR", "--from", "cells")
    spells = [line for line in said(db, "history", "motor").splitlines() if "EUR  unknown" in line]
    assert [line.split()[-1] for line in spells] == [MOTOR, "cells/motor"]


def test_a_page_that_is_not_there(db, tmp_path):
    out = said(db, "read", str(tmp_path / "none.html"))
    assert "as it stood" not in out, "no empty table"


def test_a_page_that_wants_a_choice_says_how_to_name_one(db, tmp_path):
    page = tmp_path / "balsa.html"
    page.write_text(
        '<html lang="en"><h1>Balsa sheet 1 m</h1><form action="/cart/add"><select name="t">'
        '<option value="">Choose</option><option>1 mm - £2.40</option><option>3 mm - £3.90</option>'
        "</select><button>Add to cart</button></form></html>"
    )
    out = said(db, "read", str(page), "--url", "https://balsa.example/1")
    assert "name the one you mean as the listing's `choice`" in out
    assert "2.40 GBP" in out
    assert "3.90 GBP" in out


def test_a_page_that_cannot_be_read_is_kept_and_that_is_said(db):
    ran = ebbmark("--db", db, "add", "https://motors.example/typo", "--part", "prop", "--name", "P")
    assert ran.code == 1
    assert "kept, and tried again by itself" in ran.out
    assert 'ebbmark remove "https://motors.example/typo"' in ran.out


def test_adding_is_done_whole_or_not_at_all(db):
    assert said(db, "add", MOTOR, "--part", "motor").startswith(f"{MOTOR} is a listing of motor")
    assert ebbmark("--db", db, "add", MOTOR, "--part", "new", "--name", "N").code == 2
    assert 'no part "new"' in said(db, "price", "new", "1 EUR", "--from", "motors")


def test_versions_end_with_their_sums(db, tmp_path):
    text = '[build.lighter]\nname = "L"\nfrom = "racer"\n'
    text += 'replace = [{ part = "battery", amount = "2 pieces" }]\n'
    (tmp_path / "more.toml").write_text(text)
    assert ebbmark("--db", db, "load", str(tmp_path / "more.toml")).code == 0
    past(db, tmp_path, f"{MOTOR},{day(0.1)},30,EUR,", f"{CELLS},{day(0.1)},40,EUR,")
    out = said(db, "versions", "racer")
    assert ["in", "all", "50.00", "70.00"] in [line.split() for line in out.splitlines()]
    assert "+20.00" in out


def test_an_order_says_what_it_comes_to(db, tmp_path):
    past(db, tmp_path, f"{MOTOR},{day(0.1)},30,EUR,")
    lines = ("2 x motor", "1 x motor = 20.00 EUR", "--from", "motors", "--shipping", "4.95 EUR")
    assert "together 84.95 EUR" in said(db, "order", "place", *lines)
    said(db, "order", "cancel", "order-1", "motor", "--count", "1")
    assert "together 54.95 EUR" in said(db, "order", "show", "order-1")
    said(db, "order", "arrive", "order-1")
    again = said(db, "order", "arrive", "order-1")
    assert "nothing of it can be booked as arrived; how it stands: ebbmark order show" in again


def test_one_wrong_currency_is_one_problem(db, tmp_path):
    text = '[supplier.far]\nname = "Far"\ncountry = "GB"\ncurrency = "GBX"\nmin_order = "9.00"\n'
    (tmp_path / "far.toml").write_text(text)
    [problem] = said(db, "load", str(tmp_path / "far.toml")).splitlines()
    assert '"GBX" is not a currency' in problem


def test_a_chart_of_hours_shows_hours(db, tmp_path):
    past(db, tmp_path, f"{MOTOR},{day(0.5)},30,EUR,", f"{MOTOR},{day(0.1)},29,EUR,")
    axis = said(db, "history", MOTOR).split("(UTC)")[1].splitlines()[1]
    assert ":" in axis
    past(db, tmp_path, f"{MOTOR},{day(90)},31,EUR,")
    assert ":" not in said(db, "history", MOTOR).split("(UTC)")[1].splitlines()[1]


def test_a_dash_is_the_standard_output(db, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    past(db, tmp_path, f"{MOTOR},{day(0.1)},30,EUR,")
    ran = ebbmark("--db", db, "reprice", "racer", "--md", "-")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("**Racer: what it costs**")
    assert not (tmp_path / "-").exists()
