"""Text that a spreadsheet might run stays text, and comes back as it was."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.exchange.cells import (
    from_xstring,
    guarded,
    read_csv,
    unguarded,
    write_csv,
    xstring,
)
from service.exchange.figures import Row, Sheet
from service.exchange.workbook import xlsx

SHARED = Path(__file__).parents[3] / "shared" / "checks" / "csv_formula_vectors.csv"
# OWASP ASVS 5.0, requirement 1.2.10, and the formula signs that it lists
SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def vectors() -> list[str]:
    if not SHARED.exists():
        pytest.skip("the formula vectors are not beside this repository")
    with SHARED.open(encoding="utf-8", newline="") as file:
        return [json.loads(row["value_json"]) for row in csv.DictReader(file)]


def bare(text: str) -> str:
    """What a spreadsheet looks at: the text without blanks and marks that are not seen."""
    return text.strip(" \u00a0\ufeff\u200b\t\r\n\0") if text[:1] not in SIGNS else text


def test_all_vectors_are_inert_and_come_back_from_csv() -> None:
    texts = vectors()
    assert len(texts) == 40
    out = write_csv([[text] for text in texts])
    cells = [row[0] for row in csv.reader(io.StringIO(out, newline=""))]
    assert [cell for cell in cells if bare(cell).startswith(SIGNS)] == []
    assert [row[0] for row in read_csv(out)] == texts


def test_all_vectors_are_text_cells_and_come_back_from_xlsx() -> None:
    texts = vectors()
    rows = tuple(Row("line", {"part": text}) for text in texts)
    data = xlsx(Sheet("t", "d", ("part",), rows, (), ()))
    page = openpyxl.load_workbook(io.BytesIO(data)).active
    cells = [page.cell(number, 1) for number in range(5, 5 + len(texts))]
    assert [cell.data_type for cell in cells] == ["s"] * 40
    assert [from_xstring(cell.value) for cell in cells] == texts
    assert b"<f>" not in data


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("lead", ["", " ", "\u00a0", "\ufeff", "\u200b", "\ufeff \u200b"])
def test_signs_behind_unseen_characters_are_guarded(sign: str, lead: str) -> None:
    assert guarded(f"{lead}{sign}1") == f"'{lead}{sign}1"


@pytest.mark.parametrize(
    "text", ["", "3-4", "1e5", "00123", "MARCH1", "M3 x 10", "don't", "'quoted'"]
)
def test_plain_text_is_left_as_it_is(text: str) -> None:
    assert guarded(text) == unguarded(text) == text


@given(st.text())
def test_taking_the_guard_away_gives_the_text_back(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert from_xstring(xstring(text)) == text


@given(
    st.lists(st.lists(st.text(st.characters(codec="utf-8")), min_size=1, max_size=3), max_size=5)
)
def test_any_text_comes_back_from_csv(rows: list[list[str]]) -> None:
    assert list(read_csv(write_csv(rows))) == rows


def test_numbers_stay_numbers() -> None:
    assert write_csv([["a", Decimal("-5.50"), 7, None]]) == '"a",-5.50,7,\r\n'
