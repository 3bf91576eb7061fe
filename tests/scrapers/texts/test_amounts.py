"""Amounts and units against published factors and trade examples."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scrapers.model import Amount
from scrapers.texts import (
    UNITS,
    Dimension,
    UnitError,
    convert,
    dimension,
    format_amount,
    parse_amount,
    read_amount,
    to_base,
)
from scrapers.texts.units import wire_mm2

D = Decimal

# NIST Handbook 44 appendix C: exact relations of the inch, foot, yard, ounce and pound;
# US fluid ounce. 1 oz/yd2 = 33.906 g/m2: common practice in the cloth trade.
FACTORS = [
    ("1 in", "mm", "25.4"),
    ("1 ft", "in", "12"),
    ("1 yd", "m", "0.9144"),
    ("1000 thou", "in", "1"),
    ("1 lb", "g", "453.59237"),
    ("1 lb", "oz", "16"),
    ("1 fl oz", "ml", "29.5735295625"),
    ("1 m2", "cm2", "10000"),
    ("1 yd2", "ft2", "9"),
    ("1 ft2", "in2", "144"),
    ("1,5 kg", "g", "1500"),
    ("4 oz/yd2", "g/m2", "135.624"),
    ("4 pairs", "piece", "8"),
]


@pytest.mark.parametrize(("text", "unit", "value"), FACTORS)
def test_factor(text: str, unit: str, value: str) -> None:
    assert convert(parse_amount(text), unit).value == D(value)


# (text, value, unit, size in mm, pieces); readings of common practice
AMOUNTS = [
    ("1 piece", "1", "piece", None, 1),
    ("20 Stück", "20", "piece", None, 1),
    ("1 Stk.", "1", "piece", None, 1),
    ("4 pièces", "4", "piece", None, 1),
    ("3 stuks", "3", "piece", None, 1),
    ("10 szt.", "10", "piece", None, 1),
    ("4 pairs", "4", "pair", None, 1),
    ("2 Paar", "2", "pair", None, 1),
    ("0.27 m2", "0.27", "m2", None, 1),
    ("2 m²", "2", "m2", None, 1),
    ("1,5 kg", "1.5", "kg", None, 1),
    ("1 234,5 g", "1234.5", "g", None, 1),
    ("1.000,5 m", "1000.5", "m", None, 1),
    ("250ml", "250", "ml", None, 1),
    ("8 fl oz", "8", "fl oz", None, 1),
    ("1/2 m", "0.5", "m", None, 1),
    ("½ m", "0.5", "m", None, 1),
    ("1½ in", "1.5", "in", None, 1),
    ("1 1/2 in", "1.5", "in", None, 1),
    ('36"', "36", "in", None, 1),
    ("5 Meter", "5", "m", None, 1),
    ("80 g/m²", "80", "g/m2", None, 1),
    ("300 x 600 mm", "0.18", "m2", ("300", "600"), 1),
    ("300mm×600mm", "0.18", "m2", ("300", "600"), 1),
    ("1 m x 1.2 m", "1.2", "m2", ("1000", "1200"), 1),
    ("1.2 x 5 m", "6", "m2", ("1200", "5000"), 1),
    ("900 x 300 x 2 mm", "0.27", "m2", ("900", "300"), 1),
    ("2 mm x 300 x 900 mm", "0.27", "m2", ("900", "300"), 1),
    ("2 sheets of 300 x 600 mm", "0.36", "m2", ("300", "600"), 2),
    ("4 Stück 300 x 600 mm", "0.72", "m2", ("300", "600"), 4),
    ("2 x 5 m", "10", "m", None, 2),
    ("300 mm x 4", "1200", "mm", None, 4),
    ("3 x 300 g", "900", "g", None, 3),
    ("1000 x 12 x 10 mm", "1000", "mm", None, 1),
    ("bag of 20", "20", "piece", None, 1),
    ("Beutel mit 20 Stück", "20", "piece", None, 1),
    ("lot de 10", "10", "piece", None, 1),
    ("10er Pack", "10", "piece", None, 1),
    ("10-pack", "10", "piece", None, 1),
    ("set of 4", "4", "piece", None, 1),
    ("pack of 2 pairs", "2", "pair", None, 1),
    ("a dozen", "12", "piece", None, 1),
    ("3 packs of 10", "30", "piece", None, 1),
    ("2 cans of 300 g", "600", "g", None, 2),
    ("10 m roll", "10", "m", None, 1),
    ("300 g tub", "300", "g", None, 1),
    ("Dose mit 1,5 kg", "1.5", "kg", None, 1),
    ("a roll of 1.2 m x 5 m", "6", "m2", ("1200", "5000"), 1),
    ("14 AWG", "14", "AWG", None, 1),
    ("10 m in 3 pieces", "10", "m", None, 3),
]


@pytest.mark.parametrize(("text", "value", "unit", "size", "pieces"), AMOUNTS)
def test_amount(
    text: str, value: str, unit: str, size: tuple[str, str] | None, pieces: int
) -> None:
    edges = (D(size[0]), D(size[1])) if size else None
    assert parse_amount(text) == Amount(D(value), unit, edges, pieces)


# balsa of common practice: 1/16 in x 3 in x 36 in is 3 by 36 in = 0.0697 m2
def test_fractional_inches() -> None:
    got = parse_amount("1/16 in x 3 in x 36 in")
    assert got.size == (D("914.4"), D("76.2"))
    assert got.value == D("0.06967728")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("0 m", "above 0"),
        ("-3 g", "above 0"),
        ("5", "5 pieces"),
        ("1 set", "4 pieces"),
        ("2 rolls", "10 m"),
        ("roll of 10", "10 m"),
        ("1,200 mm", "1200 or 1.200"),
        ("4 x 300 mm", "300 mm x 4"),
        ("2 x 300 x 600 mm", "2 sheets of"),
        ("3 parsec", "one of: piece"),
        ("1/0 m", "decimal"),
        ("bag of 0", "above 0"),
        ("", "1 piece"),
        ("9" * 300 + " m", "1 piece"),
        ("1.2.3 m", "one decimal point"),
    ],
)
def test_error_says_what_to_write(text: str, hint: str) -> None:
    with pytest.raises(UnitError, match=hint):
        parse_amount(text)
    assert read_amount(text) is None


def test_no_conversion_between_dimensions() -> None:
    with pytest.raises(UnitError, match="areal mass"):
        convert(parse_amount("300 g"), "m2")


def test_pair_of_a_part_that_says_otherwise() -> None:
    assert to_base(parse_amount("3 pairs"), pair_is=4) == 12
    assert convert(parse_amount("12 pieces"), "pair", pair_is=4).value == 3


def test_dimension() -> None:
    assert dimension("fl oz") is Dimension.VOLUME
    assert dimension("Stück") is Dimension.COUNT
    with pytest.raises(UnitError, match="write one of"):
        dimension("parsec")


# ASTM B258 wire table: AWG 0000 = 11.684 mm, 36 = 0.127 mm (exact); 10 = 2.588, 14 = 1.628 mm
@pytest.mark.parametrize(
    ("awg", "mm2"), [(-3, "107.22"), (10, "5.26"), (14, "2.08"), (36, "0.0127")]
)
def test_wire(awg: int, mm2: str) -> None:
    assert abs(wire_mm2(awg) - D(mm2)) <= D("0.01")


values = st.decimals(min_value="0.001", max_value="99999", places=3)


@given(values, st.sampled_from(sorted(UNITS)), st.integers(1, 40))
def test_format_round_trip(value: Decimal, unit: str, pieces: int) -> None:
    number = 1 if dimension(unit) is Dimension.COUNT else pieces
    amount = Amount(value, unit, None, number)
    assert parse_amount(format_amount(amount)) == amount


@given(values, values, st.integers(1, 40))
def test_format_round_trip_of_sheets(one: Decimal, other: Decimal, pieces: int) -> None:
    amount = Amount(one * other * pieces / 1_000_000, "m2", (one, other), pieces)
    assert parse_amount(format_amount(amount)) == amount


@given(st.text(alphabet=st.sampled_from("0123456789.,/x× mmcgkg½\"'-²piece()of"), max_size=30))
def test_no_text_raises_anything_else(text: str) -> None:
    read = read_amount(text)
    assert read is None or (read.value > 0 and read.unit in UNITS)
    if read is not None and len(text) < 20:
        assert parse_amount(format_amount(read)) == read


@given(st.text(max_size=60))
def test_any_text(text: str) -> None:
    read = read_amount(text)
    assert read is None or read.value > 0
