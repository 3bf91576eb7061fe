"""How goods are sold, from titles as the trade writes them (common practice)."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scrapers.texts import parse_amount, read_sold_as

# title -> (sold as in the catalogue's words, thickness in mm, what to ask)
TITLES = [
    ("Balsa sheet 900 x 300 x 2 mm", "900 x 300 mm", "2", None),
    ("Birch ply 300x600x1.5mm", "600 x 300 mm", "1.5", None),
    ("Birkensperrholz 3 mm 600 x 300 mm", "600 x 300 mm", None, None),
    ("Balsaholz 1000 x 100 x 3 mm, 5 Stück", "5 pieces of 1000 x 100 mm", "3", None),
    ("Balsa 1/16 x 3 x 36 in", "914.4 mm x 76.2 mm", "1.5875", None),
    ("Epoxy resin 300 g", "300 g", None, None),
    ("4 pairs", "4 pair", None, None),
    ("Servo horn, 1 pair", "1 pair", None, None),
    ("Screws M3 x 10 mm, bag of 20", "20 piece", None, None),
    ("10 Stück M3x10", "10 piece", None, None),
    ("4er Set Räder", "4 piece", None, None),
    ("2 x 5 m", "2 x 5 m", None, None),
    ("1 m x 1.2 m", "1000 x 1200 mm", None, None),
    ("Glass cloth 80 g/m2, 1 m x 1.2 m", "1000 x 1200 mm", None, None),
    ("Roll of glass tape 25 mm x 10 m", "25 x 10000 mm", None, None),
    ("Silicone hose 1 m", "1 m", None, None),
    ("Wire 14 AWG 2 m red", "2 m", None, None),
    ("Carbon tube 10 x 8 x 1000 mm", "1000 mm", None, None),
    ("Carbon rod 1.5mm x 1000mm", "1000 mm", None, None),
    ("CFK-Rohr 1000 mm", "1000 mm", None, None),
    ("Aluminium tube 6mm, 2 x 500 mm", "2 pieces of 500 mm", None, None),
    ("Abachileiste 3 x 5 x 1000 mm (10 Stück)", "10 pieces of 1000 mm", None, None),
    ("Battery 4S 3300mAh 14.8V 45C 137x43x26mm", "1 piece", None, None),
    ("Servo 23x12x22 mm 12 g", "1 piece", None, None),
    ("Resin 1,5 kg + hardener 0,5 kg", "1.5 kg", None, "which"),
    ("Set of wheels", None, None, "set"),
    ("Paint can", None, None, "can"),
    ("Roll of covering film", None, None, "roll"),
]


@pytest.mark.parametrize(("title", "text", "thickness", "ask"), TITLES)
def test_title(title: str, text: str | None, thickness: str | None, ask: str | None) -> None:
    sold = read_sold_as(title)
    assert sold is not None
    assert (sold.text, sold.ask) == (text, ask)
    assert sold.thickness == (Decimal(thickness) if thickness else None)
    if sold.text is not None:
        assert parse_amount(sold.text) == sold.amount


def test_sheet_has_its_area() -> None:
    sold = read_sold_as("900 x 300 x 2 mm")
    assert sold is not None
    assert sold.amount is not None
    assert (sold.amount.value, sold.amount.unit, sold.thickness) == (Decimal("0.27"), "m2", 2)


@pytest.mark.parametrize("title", ["", "Blue decal", "Bolt M3 x 10", "4.5 stars"])
def test_says_nothing(title: str) -> None:
    assert read_sold_as(title) is None


@given(st.text(max_size=100))
def test_no_text_raises(text: str) -> None:
    sold = read_sold_as(text)
    assert sold is None or sold.ask or sold.amount


@given(
    st.lists(
        st.sampled_from(
            [
                "12",
                "3,5",
                "1/2",
                " x ",
                "mm",
                " m",
                "tube ",
                "set of ",
                "rod ",
                "Stück ",
                "g",
                "bag of ",
                '"',
                "½",
            ]
        ),
        max_size=8,
    ).map("".join)
)
def test_no_title_raises(text: str) -> None:
    sold = read_sold_as(text)
    assert sold is None or sold.amount is None or sold.amount.value > 0
