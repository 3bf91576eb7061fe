"""A builder's own parts list: CSV and XLSX, English and German, looked at before it is kept."""

from __future__ import annotations

import io
import time
import zipfile
from datetime import datetime
from decimal import Decimal
from typing import Any

import openpyxl
import pytest

from scrapers import Amount
from service.errors import InputError
from service.exchange import sheet
from service.exchange.parts_list import into_build, parse_parts_list, to_book
from service.model.book import Book
from service.model.builds import Build, Counts
from service.model.catalogue import Part, Supplier

KNOWN = Book(
    suppliers=(Supplier("quillfeather", "Quillfeather Models", currency="EUR"),),
    parts=(Part("cell-4s", "4S 3300 mAh battery", "piece"), Part("cloth", "Glass cloth", "m2")),
)
CURLEW = Build("curlew", "Curlew", "EUR")


def rows(text: str, known: Book = KNOWN) -> list[Any]:
    return list(parse_parts_list(text.encode(), "list.csv", known).rows)


def xlsx(cells: list[list[Any]], **members: bytes) -> bytes:
    book = openpyxl.Workbook()
    for row in cells:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    with zipfile.ZipFile(out, "a") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def refused(data: bytes, name: str = "list.xlsx") -> str:
    with pytest.raises(InputError) as caught:
        parse_parts_list(data, name, KNOWN)
    return str(caught.value)


def test_english_headers_with_a_unit_column() -> None:
    found = rows(
        "Part name,Qty,Unit,Section,Notes\n4S 3300 mAh battery,1,,drive,long one\nResin,150,g,hull,\n"
    )
    assert [(row.part, row.amount, row.group, row.new) for row in found] == [
        ("cell-4s", Amount(Decimal(1), "piece"), "drive", False),
        ("resin", Amount(Decimal(150), "g"), "hull", True),
    ]
    assert found[0].note == "long one"


def test_german_headers_decimal_comma_and_headings() -> None:
    text = (
        "Stückliste Möwe;;\r\n"
        "Bezeichnung;Menge;Bemerkung\r\n"
        "Rumpf;;\r\n"
        "Laminierharz;1,5 kg;\r\n"
        "Glass cloth;0,27 m²;\r\n"
        "Antrieb;;\r\n"
        "Schraube M3;4 Stück;Edelstahl\r\n"
        "Summe;;\r\n"
    )
    found = rows(text)
    assert [(row.row, row.part, row.group) for row in found] == [
        (4, "laminierharz", "Rumpf"), (5, "cloth", "Rumpf"), (7, "schraube-m3", "Antrieb"),
    ]  # fmt: skip
    assert [row.amount for row in found] == [
        Amount(Decimal("1.5"), "kg"), Amount(Decimal("0.27"), "m2"), Amount(Decimal(4), "piece"),
    ]  # fmt: skip


def test_windows_1252_and_utf_16_as_spreadsheets_save() -> None:
    text = "Teil\tStück\nSchwebestück\t2\n"
    for encoding in ("cp1252", "utf-16"):
        (row,) = parse_parts_list(text.encode(encoding), "list.csv", KNOWN).rows
        assert (row.name, row.part) == ("Schwebestück", "schwebestueck")


def test_the_header_may_carry_the_unit_and_a_number_column_is_no_name() -> None:
    found = rows(
        "Item,Description,Amount (mm),Counts\n1,Piano wire,900,whole\n2,Tube,1.200 ,shared 3\n"
    )
    assert [row.name for row in found] == ["Piano wire", "Tube"]
    assert found[0].amount == Amount(Decimal(900), "mm")
    assert [row.counts for row in found] == [Counts("whole"), Counts("shared", 3)]


def test_problems_are_shown_by_row_and_nothing_is_made_of_them() -> None:
    text = "Part,Amount\nGlass cloth,50 g\nTape,\nWire,many\n,3\nWire,-2 m\n"
    found = parse_parts_list(text.encode(), "list.csv", KNOWN)
    assert [problem.partition(";")[0] for problem in found.problems] == [
        'list.csv: row 2: "50 g" is a mass, but "cloth" is counted in m2 (an area)',
        "list.csv: row 4: no number in 'many': write an amount such as '1 piece' or '0.5 m'",
        "list.csv: row 5: does not name its part",
        "list.csv: row 6: '-2 m' is not more than nothing: write an amount above 0",
    ]
    with pytest.raises(InputError) as caught:
        to_book(found, CURLEW, KNOWN)
    assert caught.value.problems == found.problems


def test_a_link_makes_a_listing_where_the_supplier_is_known() -> None:
    text = (
        "Part,Qty,Shop,Link,Content\n"
        "Hinge,2,Quillfeather Models,https://quillfeather.example/p/hinge,20 pieces\n"
        "Horn,2,Nowhere,https://nowhere.example/horn,\n"
        "Pin,2,quillfeather,ftp://quillfeather.example/pin,\n"
    )
    hinge, horn, pin = rows(text)
    assert hinge.listing.url == "https://quillfeather.example/p/hinge"
    assert hinge.listing.supplies[0].amount == Amount(Decimal(20), "piece")
    assert horn.hints == (
        'supplier "Nowhere" is not in the book; the page is left out, add it later',
    )
    assert "only http and https" in pin.hints[0]


def test_what_is_kept_is_new_parts_and_lines_added() -> None:
    found = parse_parts_list(
        b"Part,Amount\nTube,1 m\nTube,0.5 m\nGlass cloth,0.3 m2\n", "l.csv", KNOWN
    )
    book = to_book(found, CURLEW, KNOWN)
    assert [(part.key, part.unit) for part in book.parts] == [("tube", "m")]
    assert [line.part for line in book.builds[0].lines] == ["tube", "tube", "cloth"]
    assert parse_parts_list(b"Part,Amount\nTube,1 m\n", "l.csv", KNOWN).as_json()["rows"][0] == {
        "row": 2, "part": "tube", "name": "Tube", "amount": "1 m", "group": "other",
        "counts": "share", "note": None, "new": True, "listing": None, "problems": [], "hints": [],
    }  # fmt: skip


def test_a_list_makes_a_build_or_adds_to_one() -> None:
    found = parse_parts_list(b"Part,Amount\nTube,1 m\n", "l.csv", KNOWN)
    made = into_build(found, "gull", KNOWN, "GBP").builds[0]
    assert (made.key, made.currency, len(made.lines)) == ("gull", "GBP", 1)
    again = into_build(found, "gull", Book(builds=(made,)), "EUR").builds[0]
    assert (again.currency, len(again.lines)) == ("GBP", 2)
    with pytest.raises(InputError, match="cannot be a key"):
        into_build(found, "my gull", KNOWN, "EUR")


def test_part_names_that_look_like_nothing_stay_names() -> None:
    # common practice: table libraries take these words for missing values
    assert [row.name for row in rows("Part,Qty\nNA,1\nnan,1\nnull,1\nNone,1\n")] == [
        "NA", "nan", "null", "None",
    ]  # fmt: skip


def test_a_file_without_a_usable_header_says_which_columns_it_wants() -> None:
    assert "name the columns in the first row, such as Part, Amount" in refused(
        b"a,b\n1,2\n", "x.csv"
    )
    assert "no column says how much is needed" in refused(b"Part,Colour\nx,red\n", "x.csv")
    assert "holds no row below its header" in refused(b"Part,Qty\n", "x.csv")


# Spreadsheets.


def test_a_spreadsheet_with_typed_cells() -> None:
    data = xlsx(
        [
            ["Teil", "Menge", "Einheit"],
            ["Harz", 0.3, "kg"],
            ["Schraube", 4, None],
            [None, None, None],
        ]
    )
    found = parse_parts_list(data, "list.xlsx", KNOWN).rows
    assert [row.amount for row in found] == [
        Amount(Decimal("0.3"), "kg"),
        Amount(Decimal(4), "piece"),
    ]


def test_formulas_are_not_evaluated_and_dates_are_told() -> None:
    day = datetime(2026, 3, 4)  # noqa: DTZ001  a spreadsheet has no zone
    data = xlsx([["Part", "Qty"], ["=1+1", 1], ["Bolt", "=2+2"], ["Nut", day]])
    found = parse_parts_list(data, "list.xlsx", KNOWN)
    assert [problem.partition(";")[0] for problem in found.problems] == [
        "list.xlsx: row 2: does not name its part",
        'list.xlsx: row 4: amount "2026-03-04 00:00:00" became a date in the spreadsheet',
    ]


@pytest.fixture(scope="module")
def zip_bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"<row/>" * 10_000_000)
    return out.getvalue()


def test_a_bomb_is_refused_by_its_directory_alone(zip_bomb: bytes) -> None:
    assert len(zip_bomb) < 200_000
    start = time.process_time()
    message = refused(zip_bomb)
    assert time.process_time() - start < 0.5  # refused unread; unpacking it takes seconds of CPU
    assert message.startswith("list.xlsx: unpacks to far more than it should")


def test_a_directory_that_lies_is_stopped_while_inflating() -> None:
    good = xlsx([["Part", "Qty"], ["Bolt", 1]])
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        members = {one.filename: archive.read(one) for one in archive.infolist()}
    members["xl/worksheets/sheet1.xml"] = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        + b"<row><c><v>1</v></c></row>" * 1_000_000
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    true = len(members["xl/worksheets/sheet1.xml"]).to_bytes(4, "little")
    lying = out.getvalue().replace(true, (4000).to_bytes(4, "little"))
    assert "cannot be read as a spreadsheet" in refused(lying)


def test_too_many_rows_columns_and_characters() -> None:
    head = [["Part", "Qty"]]
    assert "more than 20000 rows" in refused(xlsx(head + [["a", 1]] * 20_001))
    assert "more than 64 columns" in refused(xlsx([*head, ["a", 1, *[""] * 70, "x"]]))
    assert "more than 20000 rows" in refused(b"Part,Qty\n" + b"a,1\n" * 20_001, "x.csv")
    assert "more than 64 columns" in refused(b"Part,Qty\na" + b"," * 80 + b"x\n", "x.csv")
    assert "more than 32767 characters" in refused(b"Part,Qty\n" + b"a" * 32_768 + b",1\n", "x.csv")
    assert "is larger than 5 MiB" in refused(b"Part,Qty\n" + b"a,1\n" * 1_400_000, "x.csv")


def test_encrypted_macro_old_broken_and_crowded_files() -> None:
    good = [["Part", "Qty"], ["Bolt", 1]]
    assert "is encrypted or of an old format" in refused(sheet._OLE + b"\0" * 600)
    assert "holds macros" in refused(xlsx(good, **{"xl/vbaProject.bin": b"x"}))
    assert "is no .xlsx file" in refused(b"PK\x03\x04 not a zip")
    assert "holds more than 100 files" in refused(xlsx(good, **{f"x{n}": b"" for n in range(100)}))
    assert "odd names" in refused(xlsx(good, **{"../../etc/cron": b"x"}))
    data = bytearray(xlsx(good))
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1
    assert "save it without a password" in refused(bytes(data))


def test_entities_in_a_sheet_are_not_expanded() -> None:
    good = xlsx([["Part", "Qty"], ["Bolt", 1]])
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        members = {one.filename: archive.read(one) for one in archive.infolist()}
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 12))
    members["xl/worksheets/sheet1.xml"] = (
        f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY l0 "ha">{laughs}]>'
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        '<row><c t="inlineStr"><is><t>&l11;</t></is></c></row></sheetData></worksheet>'
    ).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    assert "cannot be read as a spreadsheet" in refused(out.getvalue())
