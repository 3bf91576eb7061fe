"""Past prices as CSV and Parquet: exact, all errors at once, back and forth equal."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scrapers import Availability, Tax
from service.errors import InputError
from service.exchange.history import (
    history_csv,
    read_history,
    read_history_text,
    spell_rows,
    spells_csv,
    write_history,
)
from service.model.prices import Observation, Offer, Spell

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "listing,at,price,currency,availability"


def test_a_row_is_read_exactly() -> None:
    text = (
        f"{HEAD},list_price,tax,note\n"
        "quillfeather/cell-4s,2026-11-24T18:00:00+01:00,38.00,EUR,in_stock,44.90,included,seen\n"
        "quillfeather/cell-4s,2026-11-25,1.2345,EUR,,,,\n"
    )
    first, second = read_history_text(text)
    assert first == (
        "quillfeather/cell-4s",
        Observation(
            0,
            datetime(2026, 11, 24, 17, tzinfo=UTC),
            Offer(Decimal(38), "EUR", Decimal("44.90"), Availability.IN_STOCK, Tax.INCLUDED),
            origin="import",
        ),
    )
    assert second[1].at == datetime(2026, 11, 25, 12, tzinfo=UTC)
    assert second[1].offer == Offer(Decimal("1.2345"), "EUR")


def test_every_wrong_row_is_told_with_its_number() -> None:
    text = (
        f"{HEAD}\n"
        "a/b,2026-11-24T18:00:00,1.00,EUR,\n"
        ",yesterday,0,EURO,soon\n"
        'a/b,2026-11-24,"1,00",EUR,in_stock\n'
        "a/b,2026-11-24,1.00,EUR,in_stock\n"
        "a/b,2026-11-24,1.00,EUR,in_stock,more\n"
    )
    with pytest.raises(InputError) as caught:
        read_history_text(text, "old.csv")
    assert caught.value.problems == [
        (
            'old.csv: row 2: at: "2026-11-24T18:00:00" does not say its zone; '
            "add Z for UTC or such as +01:00"
        ),
        "old.csv: row 3: listing is empty; write its URL or supplier/part",
        (
            'old.csv: row 3: at: "yesterday" is not a time; '
            "write it like 2026-11-24T18:00:00Z or 2026-11-24"
        ),
        (
            'old.csv: row 3: price: "0" is not a price; write a number above 0 with a decimal point, '
            "at most four decimals"
        ),
        'old.csv: row 3: "EURO" is not a currency: write its ISO 4217 code, for example EUR',
        (
            'old.csv: row 3: availability: "soon" is unknown; leave it empty or write one of '
            "in_stock, low_stock, preorder, backorder, out_of_stock, discontinued, unknown"
        ),
        (
            'old.csv: row 4: price: "1,00" is not a price; write a number above 0 with a decimal '
            "point, at most four decimals"
        ),
        "old.csv: row 6: has 6 cells under 5 columns; correct its separators",
    ]


def test_wrong_columns_are_told_before_any_row() -> None:
    with pytest.raises(InputError) as caught:
        read_history_text("listing,when,price,currency,availability\nx\n", "old.csv")
    assert caught.value.problems[0].startswith('old.csv: there is no column "at"')
    assert caught.value.problems[1].startswith('old.csv: unknown column "when"; known are')
    with pytest.raises(InputError, match="there is no column"):
        read_history_text("", "old.csv")


def test_ten_thousand_wrong_rows_make_a_short_message() -> None:
    text = HEAD + "\n" + "a/b,never,1,EUR,\n" * 10_000
    with pytest.raises(InputError) as caught:
        read_history_text(text)
    assert len(caught.value.problems) == 51
    assert caught.value.problems[-1] == "history: and 9950 more problems like these"


def test_open_quotes_and_missing_files_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="correct the quotes"):
        read_history_text(f'{HEAD}\n"a/b,2026')
    with pytest.raises(InputError, match="No such file or directory; check the name"):
        read_history(tmp_path / "none.csv")


def test_semicolons_and_a_byte_order_mark_as_spreadsheets_save(tmp_path: Path) -> None:
    file = tmp_path / "old.csv"
    file.write_bytes(
        b"\xef\xbb\xbflisting;at;price;currency;availability\r\na/b;2026-11-24;1.00;EUR;\r\n"
    )
    assert read_history(file)[0][0] == "a/b"


names = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=12
).filter(lambda text: text == text.strip())
prices = st.decimals("0.0001", "99999", places=4)
offers = st.builds(
    Offer,
    prices,
    st.sampled_from(["EUR", "JPY", "GBP"]),
    st.none() | prices,
    st.sampled_from(Availability),
    st.sampled_from(Tax),
)
rows = st.tuples(
    names,
    st.builds(
        Observation,
        st.just(0),
        st.datetimes(datetime(1990, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001  hypothesis adds the zone
        offers,
        st.just("import"),
    ),
)


@given(st.lists(rows, max_size=8))
def test_what_is_written_is_read_back_equal(log: list[tuple[str, Observation]]) -> None:
    assert read_history_text(history_csv(log)) == log


def test_parquet_keeps_decimals_and_times(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
    at = datetime(2026, 11, 24, 18, 30, 15, 250000, tzinfo=UTC)
    log = [
        ("NA", Observation(0, at, Offer(Decimal("38.0001"), "EUR"), "import")),
        ("=1+1", Observation(0, at, Offer(Decimal(7), "EUR", Decimal(9)), "import")),
    ]
    file = tmp_path / "log.parquet"
    write_history(file, log)
    assert read_history(file) == log
    file.write_bytes(b"not parquet")
    with pytest.raises(InputError, match="cannot be read as Parquet"):
        read_history(file)


def test_parquet_of_other_programs(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
    file = tmp_path / "notes.parquet"
    frame = pandas.DataFrame(
        {
            "listing": ["a/b", "a/b"],
            "at": pandas.to_datetime(["2026-11-24T18:00Z", "2026-11-25T18:00Z"]),
            "price": [7.9, 8.0],
            "currency": ["EUR", "EUR"],
            "availability": ["in_stock", None],
            "list_price": [None, 9.95],
        }
    )
    frame.to_parquet(file, engine="pyarrow", index=False)
    first, second = read_history(file)
    assert (first[1].offer.price, first[1].offer.list_price) == (Decimal("7.9"), None)
    assert second[1].offer.availability is Availability.UNKNOWN
    assert second[1].offer.list_price == Decimal("9.95")


def test_a_log_goes_out_as_its_first_and_last_sights() -> None:
    offer = Offer(Decimal(8), "EUR")
    first, last = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC)
    spells = [Spell(7, offer, first, last, polls=90), Spell(7, offer, last, last)]
    found = list(spell_rows(spells, {7: "a/b"}))
    assert [(name, seen.at) for name, seen in found] == [
        ("a/b", first),
        ("a/b", last),
        ("a/b", last),
    ]


def test_spells_as_csv_keep_numbers_bare_and_text_inert() -> None:
    spell = {
        "listing": "=cmd|x", "price": "7.90", "currency": "EUR", "list_price": None,
        "availability": "in_stock", "tax": "included", "first_seen": "2026-01-01T00:00:00Z",
        "last_seen": "2026-01-02T00:00:00Z", "polls": 3,
    }  # fmt: skip
    assert spells_csv([spell]).splitlines()[1] == (
        '"\'=cmd|x","2026-01-01T00:00:00Z","2026-01-02T00:00:00Z",7.90,"EUR",,"in_stock",'
        '"included",3'
    )


def test_csv_needs_no_table_library() -> None:
    code = (
        "import sys, service.exchange.history, service.exchange.catalogue\n"
        "heavy = {'pandas', 'openpyxl', 'numpy', 'pyarrow', 'sqlalchemy', 'selectolax', 'httpx'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
