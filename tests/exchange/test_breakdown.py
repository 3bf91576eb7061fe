"""A cost breakdown in every form: the figures of the answer, honest words, inert text."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from service.errors import InputError
from service.exchange import picture
from service.exchange.breakdown import Options, render, write_breakdown
from service.exchange.figures import for_people

SHARED = Path(__file__).parents[3] / "shared" / "checks" / "xss_titles.jsonl"


def line(part: str, group: str, **changed: Any) -> dict[str, Any]:
    return {
        "part": part, "group": group, "amount": "1", "unit": "piece", "counts": "share",
        "listing": f"https://quillfeather.example/p/{group}", "supplier": "quillfeather",
        "rule": "cheapest per unit", "sold_as": "1 piece", "price": "10.00", "currency": "EUR",
        "rate": "1", "buy": 1, "share": "10.00", "to_spend": "10.00", "paid": None,
        "delivered": None, "on_hand": "0", "mass": None, "status": "priced", "age_hours": 1,
        "hint": None,
    } | changed  # fmt: skip


def answer(lines: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    lines = lines or [
        line("cell-4s", "drive", share="38.00", to_spend="38.00"),
        line("resin", "hull", amount="150", unit="g", share="3.63", to_spend="31.50",
             price="27.00", currency="GBP", rate="1.166666666667", status="stale", age_hours=60,
             hint="tarnside sells a smaller tub"),
        line("horn", "hull", listing=None, supplier=None, price=None, currency=None, rate=None,
             share=None, to_spend=None, status="missing", sold_as=None),
    ]  # fmt: skip
    sums = {"share": "41.63", "to_spend": "69.50", "paid": None, "delivered": None, "mass": None}
    drive = sums | {"group": "drive", "share": "38.00", "to_spend": "38.00", "complete": True}
    hull = sums | {"group": "hull", "share": "3.63", "to_spend": "31.50", "complete": False}
    return {
        "build": "curlew", "currency": "EUR", "at": "2026-11-24T18:00:00Z", "destination": None,
        "lines": lines, "groups": [drive, hull],
        "totals": sums | {"complete": False, "spent": None}, "missing": ["horn"],
        "companions": [], "fit": [], "warnings": ["Charge lithium batteries attended."],
    }  # fmt: skip


def text(form: str, options: Options | None = None, given: dict[str, Any] | None = None) -> str:
    return render(given or answer(), form, options).decode()


def test_csv_has_typed_figures_and_the_total_last() -> None:
    rows = list(csv.DictReader(io.StringIO(text("csv"), newline="")))
    assert [row["part"] for row in rows] == ["cell-4s", "resin", "horn", ""]
    assert (rows[1]["share"], rows[1]["price"], rows[1]["currency"]) == ("3.63", "27.00", "GBP")
    assert (rows[3]["group"], rows[3]["share"], rows[3]["status"]) == ("Total", "41.63", "at least")
    shares = [Decimal(row["share"]) for row in rows[:3] if row["share"]]
    assert sum(shares) == Decimal(rows[3]["share"])


def test_xlsx_cells_are_numbers_and_text() -> None:
    book = openpyxl.load_workbook(io.BytesIO(render(answer(), "xlsx")))
    rows = list(book.active.iter_rows(min_row=4))
    head = [cell.value for cell in rows[0]]
    share = head.index("In this model")
    assert [row[share].value for row in rows[1:5]] == [38, 3.63, None, 41.63]
    assert rows[1][share].number_format == "0.00"
    assert rows[1][head.index("Part")].data_type == "s"
    assert book.active["A2"].value == "Prices of 2026-11-24, in EUR"


def test_markdown_says_the_day_the_sums_and_what_is_missing() -> None:
    assert text("md") == (
        "**curlew: what it costs**\n\nPrices of 2026-11-24, in EUR\n\n"
        "| Part | Amount | Supplier | In this model | To spend | Remark |\n"
        "| --- | --- | --- | ---: | ---: | --- |\n"
        "| cell-4s | 1 piece | quillfeather | 38.00 | 38.00 |  |\n"
        "| **drive, sum** |  |  | **38.00** | **38.00** |  |\n"
        "| resin | 150 g | quillfeather | 3.63 | 31.50 "
        "| price last seen 60 h ago; tarnside sells a smaller tub |\n"
        "| horn | 1 piece |  |  |  | no price |\n"
        "| **hull, sum** |  |  | **at least 3.63** | **at least 31.50** |  |\n"
        "| **Total** |  |  | **at least 41.63** | **at least 69.50** |  |\n\n"
        "- In this model: the part of each purchase that the build uses up.\n"
        "- To spend: whole units to buy now, less what is on hand.\n"
        "- Exchange rates of the day: 1 GBP = 1.16667 EUR.\n"
        "- Without a price and not in the totals, which therefore say at least: horn.\n"
        "- Not counted: shipping, duty and fees; tools; your hours.\n"
        "- Sellers' figures are claims; prices change.\n"
        "- Lithium batteries, resin and dust, fast models: the makers' instructions and your "
        "local rules come first.\n"
        "- Charge lithium batteries attended.\n"
    )


def test_what_was_paid_lacks_nothing_and_nothing_known_says_so() -> None:
    given = answer()
    given["totals"] |= {"paid": "80.60", "to_spend": "0.00"}
    found = text("md", Options(columns=("to_spend", "paid"), suppliers=False), given)
    assert "| **Total** |  | **not known** | **80.60** |" in found


def test_bbcode_is_a_table() -> None:
    found = text("bbcode", Options(columns=("share",)))
    assert "[tr][td]cell-4s[/td][td]1 piece[/td][td]quillfeather[/td][td]38.00[/td]" in found
    assert "[td][b]at least 41.63[/b][/td]" in found
    assert found.count("[tr]") == found.count("[/tr]") == 7


def test_what_is_left_out_is_left_out_everywhere() -> None:
    options = Options(columns=("share",), suppliers=False, notes=False)
    for form in ("csv", "md", "bbcode", "html", "svg"):
        found = text(form, options)
        for secret in ("quillfeather", "tarnside", "69.50", "attended"):
            assert secret not in found, (form, secret)
    cells = openpyxl.load_workbook(io.BytesIO(render(answer(), "xlsx", options))).active
    assert "quillfeather" not in str([[c.value for c in row] for row in cells.iter_rows()])


def test_sale_prices_usual_prices_and_names_are_shown() -> None:
    page = "https://quillfeather.example/p/drive"
    options = Options(
        columns=("share", "usual"),
        usual={page: "45.00"},
        on_sale=frozenset({page}),
        names={"cell-4s": "4S 3300 mAh battery", "curlew": "Curlew 2000"},
    )
    found = text("md", options)
    assert "| 4S 3300 mAh battery | 1 piece | quillfeather | 38.00 | 45.00 | sale price |" in found
    assert "- Sale prices: 4S 3300 mAh battery." in found
    assert found.startswith("**Curlew 2000: what it costs**")


def test_wrong_columns_forms_and_places_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match='no column "cost"; choose from share, to_spend'):
        Options(columns=("cost",))
    with pytest.raises(InputError, match='no form "pdf"; choose from csv, xlsx'):
        render(answer(), "pdf")
    with pytest.raises(InputError, match="choose a place that can be written"):
        write_breakdown(answer(), "csv", tmp_path / "no" / "x.csv")
    file = tmp_path / "x.md"
    write_breakdown(answer(), "md", file)
    assert file.read_text("utf-8") == text("md")


class Seen(HTMLParser):
    """The elements that a browser would make, and the text that it would show."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.shown: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.shown.append(data)


def titles() -> list[str]:
    if not SHARED.exists():
        pytest.skip("the hostile titles are not beside this repository")
    rows = [json.loads(row) for row in SHARED.read_text("utf-8").splitlines()]
    return [next(v for k, v in row.items() if k != "id" and isinstance(v, str)) for row in rows]


def test_hostile_titles_add_nothing_to_html_and_svg() -> None:
    plain_html, plain_svg = Seen(), Seen()
    plain_html.feed(text("html"))
    plain_svg.feed(text("svg"))
    for title in titles():
        given = answer([line(title, "drive"), line("b", title, hint=title)]) | {"build": title}
        given["missing"] = [title]
        page, drawing = Seen(), Seen()
        page.feed(text("html", None, given))
        drawing.feed(text("svg", None, given))
        assert (page.tags, page.attributes) == (plain_html.tags, plain_html.attributes)
        assert (drawing.tags, drawing.attributes) == (plain_svg.tags, plain_svg.attributes)
        shown = " ".join(title.split())
        if shown.isprintable():
            assert any(shown in piece for piece in page.shown)


def test_hostile_titles_make_no_markup_in_markdown_and_forums() -> None:
    for title in titles():
        given = answer([line(title, "drive")])
        markdown, forum = text("md", None, given), text("bbcode", None, given)
        assert re.search(r"(?<!\\)[<>\[\]`]", markdown) is None
        rows = [row for row in markdown.splitlines() if row.startswith("|")]
        cells = [len(re.findall(r"(?<!\\)\|", row.replace("\\\\", ""))) for row in rows]
        assert len(set(cells)) == 1
        assert set(re.findall(r"\[/?(\w+)\]", forum)) == {"b", "table", "tr", "td"}
        assert len(re.findall(r"\[", forum)) == len(re.findall(r"\[/?(?:b|table|tr|td)\]", forum))


def test_svg_fits_long_lists_in_one_picture() -> None:
    many = answer([line(f"part-{n}", "drive") for n in range(300)])
    found = text("svg", None, many)
    assert "and 300 more lines" in found
    assert found.count("<text") < 100
    many["missing"] = [f"a part of rather long name, number {n}" for n in range(200)]
    wordy = text("svg", None, many)
    assert max(len(line) for line in re.findall(r">([^<]*)</text>", wordy)) <= 160


def test_png_is_drawn_in_a_child(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "vl_convert", raising=False)
    data = render(answer(), "png")
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert int.from_bytes(data[16:20], "big") == 1920
    assert "vl_convert" not in sys.modules


def test_charts_are_drawn_and_load_nothing() -> None:
    spec = {"data": {"values": [{"x": 1}]}, "mark": "point", "encoding": {"x": {"field": "x"}}}
    assert picture.chart_svg(spec).startswith("<svg")
    assert picture.chart_png(spec).startswith(b"\x89PNG")
    outside = spec | {"data": {"url": "http://127.0.0.1:9/x.json"}}
    with pytest.raises(InputError, match="could not be drawn"):
        picture.chart_svg(outside)


def test_a_drawing_that_fails_or_takes_too_long_is_told() -> None:
    with pytest.raises(InputError, match=r"could not be drawn .*; write CSV or HTML instead"):
        picture.svg_png("<svg")
    with pytest.raises(InputError, match="took too long to draw"):
        picture.draw({"make": "svg_png", "source": "<svg/>"}, timeout=0.001)
    with pytest.raises(InputError, match="would be too large"):
        picture.svg_png("x" * (9 * 1024 * 1024))


def test_the_picture_shows_the_sums_to_the_right() -> None:
    sheet = for_people(answer(), Options())
    ends = re.findall(r'text-anchor="end"[^>]*>([^<]*)<', picture.table_svg(sheet))
    assert ends[-2:] == ["at least 41.63", "at least 69.50"]
