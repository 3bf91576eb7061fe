"""Price charts: steps, gaps left open, round ticks, a valid specification, inert text.

Sources: ISO 129-1 (dimension lines with arrowheads); Vega-Lite 6 compiled by vl-convert, an
independent implementation, as the judge of the specification; SVG 1.1 path grammar.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from defusedxml.ElementTree import fromstring

from service.charts.model import (
    Band,
    Line,
    PriceChart,
    Run,
    clip,
    corners,
    stretches,
    value_range,
)
from service.charts.spec import LIGHT, paint, price_spec, rows
from service.charts.svg import describe, price_svg
from service.charts.ticks import nice_ticks, tick_text, time_ticks

START = datetime(2026, 2, 1, tzinfo=UTC)


def day(n: float) -> datetime:
    return START + timedelta(days=n)


def run(start: float, end: float, value: str) -> Run:
    return Run(day(start), day(end), Decimal(value))


MAIN = Line(
    "Quillfeather",
    (run(0, 30, "46.90"), run(30, 40, "39.90"), run(40, 90, "46.90"), run(120, 200, "41.90")),
)
CHART = PriceChart(
    day(0), day(200), "EUR", (MAIN,), (Band(day(30), day(40), "sale"),), Decimal("38.00")
)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(chart: PriceChart, width: int = 834) -> Any:
    text = price_svg(chart, width, 300, "wide")
    return fromstring(text.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def test_a_gap_in_observation_begins_a_new_stretch() -> None:
    """Nobody looked from day 90 to 120."""
    assert [len(s) for s in stretches(MAIN.runs)] == [3, 1]
    line = re.search(r'class="c-line" d="([^"]*)"', price_svg(CHART, 834, 300))
    assert line is not None
    assert line[1].count("M") == 2


def test_a_price_holds_until_it_changes() -> None:
    """Only horizontal and vertical strokes: a step line has no slope."""
    line = re.search(r'class="c-line" d="([^"]*)"', price_svg(CHART, 834, 300))
    assert line is not None
    assert re.fullmatch(r"(?:M[\d.]+ [\d.]+(?:H[\d.]+V[\d.]+)+)+", line[1])


def test_corners_are_changes_and_the_end() -> None:
    found = list(corners(stretches(MAIN.runs)[0]))
    assert found == [
        (day(0), Decimal("46.90")),
        (day(30), Decimal("39.90")),
        (day(40), Decimal("46.90")),
        (day(90), Decimal("46.90")),
    ]


def test_clip_cuts_at_the_span() -> None:
    assert clip(MAIN.runs, day(35), day(100)) == (run(35, 40, "39.90"), run(40, 90, "46.90"))


def test_the_distance_to_the_target_is_a_dimension_line() -> None:
    text = price_svg(CHART, 834, 300)
    assert text.count('class="c-arrow"') == 2
    assert ">3.90<" in text  # 41.90 - 38.00
    assert ">target 38.00<" in text


@pytest.mark.parametrize("target", ["41.80", "42.00", "60.00", "0.50"])
def test_arrows_stand_outside_where_there_is_no_room(target: str) -> None:
    chart = PriceChart(day(0), day(200), "EUR", (MAIN,), (), Decimal(target))
    assert price_svg(chart, 334, 260).count('class="c-arrow"') == 2


def test_everything_lies_within_the_picture() -> None:
    for width in (834, 334):
        for _, x, y in re.findall(
            r'(<text) x="([\d.-]+)" y="([\d.-]+)"', price_svg(CHART, width, 300)
        ):
            assert 0 <= float(x) <= width
            assert 0 <= float(y) <= 300


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "]]>", "&lt;b&gt;"]
)
def test_names_are_text(name: str) -> None:
    chart = PriceChart(
        day(0),
        day(200),
        "EUR",
        (Line(name, MAIN.runs),),
        (Band(day(0), day(100), name),),
        title=name,
    )
    tree = drawn(chart)
    tags = {element.tag.removeprefix(SVG) for element in tree.iter()}
    assert tags <= {"svg", "path", "rect", "text", "circle", "title"}
    assert name in {element.text for element in tree.iter(f"{SVG}title")}


def test_no_style_and_no_script_in_the_picture() -> None:
    text = price_svg(CHART, 834, 300)
    assert not re.search(r"\s(style|on[a-z]+)=|<style|<script", text)


@pytest.mark.parametrize(
    ("low", "high", "about", "wanted"),
    [
        (34.0, 54.0, 5, [35, 40, 45, 50]),
        (0.0, 1.0, 5, [0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (176.0, 242.0, 4, [180, 200, 220, 240]),
        (0.025, 0.052, 5, [0.03, 0.04, 0.05]),
        (7.0, 7.0, 5, [7.0]),
    ],
)
def test_ticks_are_round(low: float, high: float, about: int, wanted: list[float]) -> None:
    """Steps of 1, 2 or 5 times a power of ten, as handbooks of graphing ask (common practice)."""
    assert nice_ticks(low, high, about) == pytest.approx(wanted)


def test_tick_texts_are_alike() -> None:
    ticks = [0.0, 0.5, 1.0]
    assert [tick_text(t, ticks) for t in ticks] == ["0.0", "0.5", "1.0"]


def test_time_ticks_are_days_months_or_years() -> None:
    assert [t for _, t in time_ticks(day(0), day(10), 20)][:2] == ["2 Feb", "3 Feb"]
    year = [
        t
        for _, t in time_ticks(
            datetime(2026, 10, 5, tzinfo=UTC), datetime(2027, 3, 5, tzinfo=UTC), 9
        )
    ]
    assert year == ["Nov", "Dec", "2027", "Feb", "Mar"]
    assert [t for _, t in time_ticks(START, datetime(2030, 6, 1, tzinfo=UTC), 9)] == [
        "2027",
        "2028",
        "2029",
        "2030",
    ]


def test_a_chart_of_one_point_is_not_drawn() -> None:
    point = PriceChart(day(0), day(1), "EUR", (Line("x", (run(1, 1, "5"),)),))
    assert not point.worth_drawing()
    assert CHART.worth_drawing()
    assert not PriceChart(day(0), day(1), "EUR", ()).worth_drawing()


def test_the_range_holds_target_and_prices() -> None:
    low, high = value_range(CHART)
    assert low < 38.0
    assert high > 46.9


def test_the_chart_in_a_sentence() -> None:
    text = describe(CHART)
    assert "now 41.90 EUR, lowest 39.90, highest 46.90, target 38.00" in text
    assert "nothing seen" in describe(PriceChart(day(0), day(1), "EUR", ()))


def test_rows_hold_every_corner() -> None:
    found = list(rows(CHART))
    assert len(found) == 6
    assert len({row["stretch"] for row in found}) == 2


@pytest.mark.parametrize(
    "chart", [CHART, PriceChart(day(0), day(200), "EUR", (MAIN, Line("b", MAIN.runs, "other")))]
)
def test_the_specification_compiles_without_a_warning(
    chart: PriceChart, capfd: pytest.CaptureFixture[str]
) -> None:
    convert = pytest.importorskip("vl_convert")
    spec = paint(price_spec(chart))
    spec["width"] = 700
    vega = convert.vegalite_to_vega(spec)
    text = convert.vega_to_svg(vega)
    assert LIGHT["ink"] in text
    if chart.target is not None:
        assert LIGHT["accent"] in text
        assert ">3.90<" in text
    assert "WARN" not in capfd.readouterr().err


def test_paint_leaves_no_name_of_a_colour() -> None:
    assert "@" not in str(paint(price_spec(CHART)))
