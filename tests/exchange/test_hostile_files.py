"""Files made to break a reader: whatever the bytes, an answer or an InputError."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import InputError
from service.exchange.history import read_history_text
from service.exchange.parts_list import csv_rows, parse_parts_list
from service.exchange.sheet import vet
from service.model.book import Book

HEADER = b"Part,Amount,Unit,Supplier,Link\n"
CELLS = ["1,5 kg", "1/0", "9" * 40, "-1", "\ufeff", '"', "=1+1", "300 x 600 mm", "²", "1e999"]
rows = st.lists(st.text(max_size=12) | st.sampled_from(CELLS), max_size=12).map(
    lambda cells: ",".join(cells).encode("utf-8", "replace")
)


def problems(read: Callable[[], object]) -> list[str]:
    """What was told; anything but an InputError fails the test."""
    try:
        read()
    except InputError as error:
        return error.problems
    return []


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300) | rows)
def test_any_bytes_below_a_header_are_a_preview_or_refused(data: bytes) -> None:
    told = problems(lambda: parse_parts_list(HEADER + data, "list.csv", Book()))
    if told:
        assert told[0].startswith("list.csv: ")
    else:
        found = parse_parts_list(HEADER + data, "list.csv", Book())
        assert all(row.amount is not None or row.problems for row in found.rows)


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_rows_or_refused(data: bytes) -> None:
    assert all(told.startswith("x: ") for told in problems(lambda: csv_rows(data, "x")))


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_a_history_or_refused(text: str) -> None:
    head = "listing,at,price,currency,availability\n"
    told = problems(lambda: read_history_text(head + text, "h"))
    assert all(problem.startswith("h: ") for problem in told)


def archive(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name, content in members.items():
            packed.writestr(name, content)
    return out.getvalue()


def workbook() -> dict[str, bytes]:
    book = openpyxl.Workbook()
    book.active.append(["Part", "Qty"])
    out = io.BytesIO()
    book.save(out)
    with zipfile.ZipFile(out) as packed:
        return {one.filename: packed.read(one) for one in packed.infolist()}


GOOD = workbook()
PACKED = archive(GOOD)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(PACKED) - 1), st.binary(min_size=1, max_size=4))
def test_a_damaged_archive_is_refused_or_passes_the_directory_check(at: int, junk: bytes) -> None:
    damaged = PACKED[:at] + junk + PACKED[at + len(junk) :]
    assert all(told.startswith("x: ") for told in problems(lambda: vet(damaged, "x")))


@pytest.mark.parametrize("name", ["xl/workbook.xml", "[Content_Types].xml", "xl/styles.xml"])
def test_a_damaged_member_is_told(name: str) -> None:
    with pytest.raises(InputError, match="cannot be read as a spreadsheet"):
        parse_parts_list(archive(GOOD | {name: b"<broken"}), "x.xlsx", Book())
