"""Every kind of value that a catalogue holds: what is taken, what is refused and how."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from babel import Locale
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import InputError
from service.exchange.catalogue import book_from_document, parse_toml
from service.exchange.catalogue import values as v
from service.exchange.catalogue.builds import counts, cut, millimetres
from service.exchange.catalogue.goods import is_gtin
from service.model.builds import Counts, Cut
from service.model.countries import COUNTRIES


def test_countries_are_the_249_of_iso_3166() -> None:
    # ISO 3166-1 has 249 officially assigned codes; Unicode CLDR's territories hold them all
    territories = {code for code in Locale("en").territories if len(code) == 2 and code.isalpha()}
    assert len(COUNTRIES) == 249
    assert territories >= COUNTRIES
    # what CLDR has besides: reserved, user-assigned and grouping codes
    assert territories - COUNTRIES <= {
        *("AC", "CP", "DG", "EA", "IC", "TA", "EU", "EZ", "UN", "XA", "XB", "XK", "ZZ", "QO", "CQ"),
    }


@pytest.mark.parametrize(
    ("code", "good"),
    [
        # GS1 check digit calculator's own example is 629104150021 -> 3
        ("6291041500213", True),
        ("6291041500214", False),
        ("6291041500231", False),
        # GS1 General Specifications: a GTIN-8, and the same with leading zeros as GTIN-14
        ("96385074", True),
        ("00000096385074", True),
        ("9638507", False),
        ("٩٦٣٨٥٠٧٤", False),
        ("not a code", False),
    ],
)
def test_gtin_check_digits(code: str, good: bool) -> None:
    assert is_gtin(code) is good


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("6h", timedelta(hours=6)),
        ("2 d", timedelta(days=2)),
        ("90 d", timedelta(days=90)),
        ("30 min", timedelta(minutes=30)),
        ("10 s", timedelta(seconds=10)),
        ("1 w", timedelta(days=7)),
        ("2 years", timedelta(days=730)),
    ],
)
def test_spans_of_time(text: str, span: timedelta) -> None:
    assert v.duration(text) == span
    assert v.duration(v.duration_text(span)) == span


@pytest.mark.parametrize("raw", ["", "6", "6 x", "-6h", "0 d", "1.5 h", "٦h", 6, None, "9" * 40])
def test_no_span_of_time(raw: Any) -> None:
    with pytest.raises(InputError, match='write such as "30 min", "6h" or "90 d"'):
        v.duration(raw)


@pytest.mark.parametrize(
    ("raw", "value"), [("15 %", "0.15"), ("0.5%", "0.005"), ("100 %", "1"), (Decimal("0.6"), "0.6")]
)
def test_percentages(raw: Any, value: str) -> None:
    assert v.fraction(raw) == Decimal(value)


@pytest.mark.parametrize("raw", ["0 %", "101 %", "-5 %", 15, "15", True])
def test_no_percentages(raw: Any) -> None:
    with pytest.raises(InputError):
        v.fraction(raw)


@pytest.mark.parametrize(
    "raw", [1.5, True, None, "1_000", "1e3", "٤", "1,5", "NaN", "0x10", " ", []]
)
def test_no_numbers(raw: Any) -> None:
    with pytest.raises(InputError):
        v.number(raw)


def test_numbers_are_exact() -> None:
    assert v.number("4.10") == Decimal("4.10")
    assert v.number(7) == 7
    assert v.price("0") == 0
    with pytest.raises(InputError, match="more than four decimals"):
        v.price("1.23456")


@pytest.mark.parametrize("raw", ["2027-02-30", "15.3.2027", 20270315, datetime(2027, 3, 15)])  # noqa: DTZ001  a TOML local time
def test_no_days(raw: Any) -> None:
    with pytest.raises(InputError, match="write it like 2027-03-15"):
        v.day(raw)


def test_days() -> None:
    assert v.day("2027-03-15") == v.day(date(2027, 3, 15)) == date(2027, 3, 15)


@pytest.mark.parametrize("raw", ["NL-DE", "nl", "UK", "EU", "XX", None, 31])
def test_no_countries(raw: Any) -> None:
    with pytest.raises(InputError, match="two-letter ISO 3166 code"):
        v.country(raw)


def test_cut_lists() -> None:
    assert cut("300 mm x 4") == Cut(4, length=Decimal(300))
    assert cut("300 x 200 mm x 2") == Cut(2, size=(Decimal(300), Decimal(200)))
    assert cut("12 in × 3") == Cut(3, length=Decimal("304.8"))  # 1 in = 25.4 mm (1959)
    assert cut("0.9 m") == Cut(1, length=Decimal(900))
    assert cut("4 pieces of 300 mm") == Cut(4, length=Decimal(300))
    for wrong in ("300 g x 2", "300", "x 4", "300 mm x 0", 300):
        with pytest.raises(InputError):
            cut(wrong)


def test_ways_to_count() -> None:
    assert counts("shared 6") == Counts("shared", 6)
    assert str(counts("whole")) == "whole"
    for wrong in ("shared", "shared 1", "shared x", "whole 2", "half", 3, ""):
        with pytest.raises(InputError):
            counts(wrong)


def test_kerf_is_millimetres() -> None:
    assert millimetres(Decimal("1.5")) == Decimal("1.5")
    assert millimetres("1/16 in") == Decimal("1.5875")
    with pytest.raises(InputError, match="is not a length"):
        millimetres("2 g")


# Wrong values, each at its place. `part.x` and `supplier.s` are fine but for the one line.
WRONG = {
    'supplier.s.prices = "net"': 'is none of "with-tax", "without-tax"',
    'supplier.s.country = "Holland"': "is not a country",
    'supplier.s.min_gap = "1 s"': "a host is left alone for 2 s or more",
    'supplier.s.shipping = [{ to = "NL" }]': 'shipping[1].fee: missing; write such as fee = "4.95"',
    'supplier.s.shipping = { to = "NL" }': "must be a list of tables",
    'supplier.s.shipping = ["NL"]': "must be a table of keys",
    'supplier.s.shipping = [{ to = "NL", fee = "1", days = "4-2" }]': 'write "3" or "2-4"',
    'supplier.s.fee = [{ name = "x" }]': "has none of amount, percent",
    'supplier.s.fee = [{ name = "x", amount = "1", percent = "1 %" }]': "has amount and percent",
    'supplier.s.fee = [{ name = "x", amount = "1", when = { clas = "y" } }]': 'did you mean "class"',
    'part.x.unit = "furlong"': "'furlong' is no unit known here",
    'part.x.unit = "g/m2"': 'nothing is sold by "g/m2"',
    'part.x.mass = "3 m"': 'is not a mass; write such as "310 g"',
    'part.x.density = "-1"': "write a number above 0",
    'part.x.areal_mass = "80 g"': 'write such as "160 g/m2"',
    'part.x.keep = "3 m"': '"3 m" is a length, but "x" is counted in piece',
    'part.x.ids = { gtin = "6291041500214" }': "fails its check digit",
    'part.x.ids = { ean = "6291041500213" }': "unknown key",
    "part.x.pair_is = 0": "is not a whole number from 1 to 1000",
    'part.x.class = ["a b"]': "cannot be a key",
    'part.x.equivalent = [{ part = "y" }]': 'there is no part "y"',
    "part.x.spec = { cells = [4] }": "must be text in quotes",
    'part.x.shelf_life = "long"': "is not a time span",
    'part.x.listing = [{ supplier = "s" }]': "listing[1].sold_as: missing; say what one purchase holds",
    'part.x.listing = [{ sold_as = "1 piece" }]': "listing[1].supplier: missing",
    'part.x.listing = [{ supplier = "z", sold_as = "1 piece" }]': 'there is no supplier "z"',
    'part.x.listing = [{ supplier = "s", sold_as = "a set" }]': "does not say how much it holds",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", every = "5 s" }]': "write 1 min or more",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", rule = { price = ".now" } }]': "write css:SELECTOR",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", rule = { price = "css:p[" } }]': "is no CSS selector",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", rule = { price = "re:(?=a)1" } }]': "looks ahead",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", render = "yes" }]': "write true or false",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", includes = ["strap"] }]': 'is not "PART: AMOUNT"',
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", includes = ["x: 2 m"] }]': "includes[1]",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", breaks = [{ quantity = 0, price = "1" }] }]': "whole number",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", breaks = [{ quantity = 2, price = "1", per = "lots" }] }]': 'did you mean "lot"',
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece", least = "1 m" }]': "listing[1].least",
    'part.x.listing = [{ supplier = "s", sold_as = "1 piece" }, { supplier = "s", sold_as = "2 pieces" }]': "give each its own choice, or write one [[set]]",
    'set = [{ supplier = "s", supplies = [] }]': "set[1].supplies: missing; write what it holds",
    'set = [{ supplier = "s", supplies = [{ part = "x", amount = "1 piece", split = "60 %" }] }]': "adding up to 100 %",
    'set = [{ supplier = "s", supplies = [{ part = "x", amount = "1 piece" }, { part = "x", amount = "1 piece" }] }]': "twice",
    "set = [{}]": "set[1].supplier: missing",
    'build.b = { name = "B" }': 'build.b.currency: missing; write such as currency = "EUR"',
    'build.b = { name = "B", currency = "EUR", state = "done" }': "is none of",
    'build.b = { name = "B", currency = "EUR", need_by = "soon" }': "is not a day",
    'build.b = { name = "B", currency = "EUR", lines = [{ amount = "1 piece" }] }': "names no part",
    'build.b = { name = "B", currency = "EUR", lines = [{ part = "x" }] }': "lines[1].amount: missing",
    'build.b = { name = "B", currency = "EUR", lines = [{ part = "x", need = { a = 1 }, amount = "1 piece" }] }': "keep one",
    'build.b = { name = "B", currency = "EUR", lines = [{ need = {}, amount = "1 piece" }] }': "is empty",
    'build.b = { name = "B", currency = "EUR", lines = [{ part = "x", amount = "1 piece", listing = "s/x" }] }': "there is no listing",
    'build.b = { name = "B", currency = "EUR", lines = [{ or = [{ part = "q", amount = "1 piece" }] }] }': 'there is no part "q"',
    'build.b = { name = "B", currency = "EUR", lines = [{ part = "x", amount = "1 piece", grain = "up" }] }': "is none of",
    'build.b = { name = "B", currency = "EUR", replace = [{ part = "x" }] }': "needs the build it derives from",
    'build.b = { from = "b" }': "leads back to this build",
    'build.b = { from = "c" }': 'there is no build "c"',
    'purchase = [{ part = "x", count = 0, total = "1 EUR" }]': "purchase[1].count",
    'purchase = [{ part = "x", count = 1 }]': "has none of price, total",
    'purchase = [{ part = "x", count = 1, total = "1" }]': 'write it like "7.90 EUR"',
    'purchase = [{ part = "y", count = 1, total = "1 EUR" }]': 'there is no part "y"',
    'purchase = [{ set = "s/x", count = 1, total = "1 EUR" }]': "there is no listing",
    'purchase = [{ part = "x", count = 1, total = "1 EUR", sold_as = "1 m" }]': "purchase[1].sold_as",
    'purchase = "all"': "must be a list of tables",
    "part = 3": "must be a table of keys",
    'part."a/b" = { name = "x" }': "cannot be a key",
}


@pytest.mark.parametrize(("text", "words"), WRONG.items())
def test_wrong_values_are_told_at_their_place(text: str, words: str) -> None:
    fine = {"supplier.s.name": '"S"', "supplier.s.currency": '"EUR"', "part.x.name": '"X"'}
    lines = [f"{key} = {value}" for key, value in fine.items()]
    if text.startswith("part = "):
        lines = []
    document = parse_toml("\n".join([*lines, text]), "x.toml")
    with pytest.raises(InputError) as caught:
        book_from_document(document, "x.toml")
    assert words in "\n".join(caught.value.problems)
    assert all(problem.startswith("x.toml: ") for problem in caught.value.problems)


names = st.sampled_from(
    [
        "supplier",
        "part",
        "set",
        "build",
        "purchase",
        "target",
        "name",
        "unit",
        "spec",
        "listing",
        "url",
        "sold_as",
        "lines",
        "amount",
        "or",
        "need",
        "cuts",
        "cut",
        "shipping",
        "fee",
        "when",
        "class",
        "from",
        "replace",
        "by",
        "count",
        "total",
        "supplies",
        "split",
        "x",
        "s",
    ]
)
leaves = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.decimals()
    | st.text(max_size=6)
    | st.dates()
    | st.sampled_from(["x", "s", "1 piece", "EUR", "1 EUR", "https://s.example/", "15 %", "6h"])
)
trees = st.recursive(
    leaves,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=4),
    max_leaves=8,
)
EXAMPLE = (Path(__file__).parents[2] / "config" / "example.toml").read_text("utf-8")


def places(node: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of a parsed document."""
    keys = list(node) if isinstance(node, dict) else list(range(len(node)))
    inner = [node[key] for key in keys if isinstance(node[key], (dict, list))]
    return [(node, key) for key in keys] + [place for child in inner for place in places(child)]


def problems_of(document: dict[str, Any]) -> list[str]:
    try:
        book_from_document(document)
    except InputError as error:
        return error.problems
    return []


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_whatever_is_written_anywhere_only_input_errors_come_out(data: st.DataObject) -> None:
    document = parse_toml(EXAMPLE, "example")
    for _ in range(data.draw(st.integers(1, 3))):
        container, key = data.draw(st.sampled_from(places(document)))
        container[key] = data.draw(trees)
    problems = problems_of(document)
    assert all(problem.startswith("catalogue: ") for problem in problems)
