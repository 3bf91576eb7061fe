"""Catalogue files: what is read, what is refused and in which words."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from scrapers import Amount
from service.errors import InputError
from service.exchange.catalogue import book_from_document, parse_toml, read_book
from service.model.money import Money

if TYPE_CHECKING:
    from pathlib import Path

    from service.model.book import Book

BASE = """
[supplier.quillfeather]
name = "Quillfeather Models"
home = "https://quillfeather.example/"
country = "NL"
currency = "EUR"
shipping = [{ to = "NL", fee = "4.95", free_from = "75.00" }, { to = "*", fee = "12.50" }]

[part.cell-4s]
name = "4S 3300 mAh battery"
spec = { cells = 4, capacity_mAh = 3300 }
class = ["lithium"]
[[part.cell-4s.listing]]
supplier = "quillfeather"
url = "https://quillfeather.example/p/4s-3300"
sold_as = "1 piece"

[part.cloth]
name = "Glass cloth"
unit = "m2"
[[part.cloth.listing]]
supplier = "quillfeather"
url = "https://quillfeather.example/p/cloth"
sold_as = "1 m x 1.2 m"

[build.curlew]
name = "Curlew 2000"
currency = "EUR"
budget = "420.00"
need_by = 2027-03-15
lines = [
  { part = "cell-4s", amount = "1 piece", group = "drive" },
  { part = "cloth", amount = "0.3 m2" },
]

[[target]]
part = "cell-4s"
at_or_below = "38.00 EUR"
"""


def book(text: str = "", known: Book | None = None) -> Book:
    return book_from_document(parse_toml(BASE + text, "x.toml"), "x.toml", known)


def problems(text: str, known: Book | None = None, *, base: str = BASE) -> list[str]:
    with pytest.raises(InputError) as caught:
        book_from_document(parse_toml(base + text, "x.toml"), "x.toml", known)
    return caught.value.problems


def changed(old: str, new: str) -> list[str]:
    assert old in BASE
    return problems("", base=BASE.replace(old, new))


def test_the_example_is_read_exactly() -> None:
    read = book()
    supplier = read.suppliers[0]
    assert (supplier.country, supplier.shipping[0].free_from) == ("NL", Decimal(75))
    assert dict(read.parts[0].spec) == {"cells": "4", "capacity_mAh": "3300"}
    cloth = next(one for one in read.listings if one.url and one.url.endswith("cloth"))
    assert cloth.supplies[0].amount == Amount(Decimal("1.2"), "m2", (Decimal(1000), Decimal(1200)))
    build = read.builds[0]
    assert (build.budget, build.need_by) == (Decimal("420.00"), date(2027, 3, 15))
    assert [line.group for line in build.lines] == ["drive", "other"]
    assert read.targets[0].at_or_below == Money(Decimal(38), "EUR")
    assert read.targets[0].key == "part:cell-4s:at_or_below"


# Bad input, each with a message that says where and what to do.


def test_a_syntax_error_has_its_line_and_column(tmp_path: Path) -> None:
    file = tmp_path / "bad.toml"
    file.write_text('[part.x]\nname = "x\n')
    with pytest.raises(InputError) as caught:
        read_book([file])
    assert caught.value.problems == [
        f"{file}: line 2, column 10: Illegal character '\\n'; correct the TOML there"
    ]


def test_an_unknown_key_names_the_nearest() -> None:
    assert changed("country =", "contry =") == [
        'x.toml: supplier.quillfeather.contry: unknown key; did you mean "country"?'
    ]
    assert problems("\n[suplier.x]\n") == ['x.toml: suplier: unknown key; did you mean "supplier"?']
    assert problems('\n[[target]]\npart = "cloth"\nlowest_in = "90 d"\nzzz = 1\n')[0].startswith(
        "x.toml: target[2].zzz: unknown key; known here: again_below, "
    )


def test_a_line_naming_an_unknown_part() -> None:
    assert changed('{ part = "cell-4s", amount', '{ part = "cell-4z", amount') == [
        'x.toml: build.curlew.lines[1].part: there is no part "cell-4z"; did you mean "cell-4s"?'
    ]


def test_goods_of_another_dimension_than_the_line() -> None:
    assert changed('amount = "0.3 m2"', 'amount = "50 g"') == [
        (
            'x.toml: build.curlew.lines[2].amount: "50 g" is a mass, but "cloth" is counted in m2 '
            '(an area); write such as "300 x 600 mm" or "0.18 m2", or give part.cloth an areal_mass, '
            "or change the unit of part.cloth"
        )
    ]


def test_an_areal_mass_makes_mass_and_area_one() -> None:
    text = BASE.replace('amount = "0.3 m2"', 'amount = "50 g"')
    text = text.replace('unit = "m2"', 'unit = "m2"\nareal_mass = "160 g/m2"')
    read = book_from_document(parse_toml(text, "x"), "x")
    assert read.parts[1].areal_mass == 160
    assert read.builds[0].lines[1].amount == Amount(Decimal(50), "g")


def test_goods_sold_in_another_dimension_than_the_part() -> None:
    (found,) = changed('sold_as = "1 m x 1.2 m"', 'sold_as = "300 g"')
    assert found.startswith('x.toml: part.cloth.listing[1].sold_as: "300 g" is a mass, but')


@pytest.mark.parametrize("text", ["-1 piece", "0 piece", "-0.5 piece"])
def test_a_negative_or_empty_amount(text: str) -> None:
    (found,) = changed('amount = "1 piece", group', f'amount = "{text}", group')
    assert found.startswith("x.toml: build.curlew.lines[1].amount: ")
    assert "is not more than nothing: write an amount above 0" in found


def test_an_unknown_currency() -> None:
    assert changed('at_or_below = "38.00 EUR"', 'at_or_below = "38.00 EURO"') == [
        (
            'x.toml: target[1].at_or_below: "EURO" is not a currency: '
            "write its ISO 4217 code, for example EUR"
        )
    ]
    (found,) = changed('currency = "EUR"\nbudget', 'currency = "ZZZ"\nbudget')
    assert found.startswith('x.toml: build.curlew.currency: "ZZZ" is not a currency')


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("ftp://quillfeather.example/p", "only http and https URLs are visited"),
        ("file:///etc/passwd", "only http and https URLs are visited"),
        ("javascript:alert(1)", "not a whole URL"),
        ("https://me:pw@quillfeather.example/p", "holds a user name or password"),
        ("https://quillfeather.example/p q", "holds a blank"),
        ("https://quillfeather.example/p#red", "has a part behind #"),
    ],
)
def test_a_url_of_another_scheme_or_shape(url: str, words: str) -> None:
    (found,) = changed("https://quillfeather.example/p/cloth", url)
    assert found.startswith("x.toml: part.cloth.listing[1].url: ")
    assert words in found


def test_every_problem_of_every_file_at_once(tmp_path: Path) -> None:
    one, two, three = (tmp_path / name for name in ("one.toml", "two.toml", "three.toml"))
    one.write_text('[part.a]\nname = 3\nunit = "furlong"\n')
    two.write_text("[part\n")
    three.write_text('[build.b]\nname = "B"\ncurrency = "EUR"\nlines = [{ part = "zz" }]\n')
    with pytest.raises(InputError) as caught:
        read_book([one, two, three, tmp_path / "none.toml"])
    names = [problem.removeprefix(f"{tmp_path}/") for problem in caught.value.problems]
    assert [name.partition(".toml")[0] for name in names] == [
        *("one", "one", "two", "three", "none", "three"),
    ]
    assert names[4] == "none.toml: No such file or directory; check the name and its permissions"


def test_files_that_are_no_text_or_too_large(tmp_path: Path) -> None:
    latin, large, marked = (tmp_path / name for name in ("latin.toml", "large.toml", "bom.toml"))
    latin.write_bytes('[part.a]\nname = "Möwe"\n'.encode("latin-1"))
    large.write_bytes(b"#" * (5 * 1024 * 1024 + 1))
    marked.write_bytes(b'\xef\xbb\xbf[part.a]\nname = "A"\n')
    assert read_book([marked]).parts[0].name == "A"
    with pytest.raises(InputError) as caught:
        read_book([latin, large, tmp_path])
    assert caught.value.problems == [
        f"{latin}: line 2: is not UTF-8 text; save it as UTF-8",
        f"{large}: is larger than 5 MiB; split it into several files",
        f"{tmp_path}: Is a directory; check the name and its permissions",
    ]


def test_a_part_may_be_named_for_its_listings_alone() -> None:
    more = '[[part.cloth.listing]]\nsupplier = "quillfeather"\nsold_as = "3 m2"\n'
    read = book_from_document(parse_toml(more, "m"), "m", book())
    assert (read.parts, read.listings[0].key) == ((), "quillfeather/cloth")
    with pytest.raises(InputError, match=r'm: part.cloth: there is no part "cloth"'):
        book_from_document(parse_toml(more, "m"), "m")


def test_what_one_purchase_held_is_known_from_the_listing_or_asked_for() -> None:
    bought = '[[purchase]]\npart = "cloth"\nsupplier = "quillfeather"\ncount = 2\nprice = "9 EUR"\n'
    (purchase,) = book(bought).purchases
    assert (purchase.content, purchase.total) == (Decimal("1.2"), Money(Decimal(18), "EUR"))
    other = '[[part.cloth.listing]]\nsupplier = "quillfeather"\nsold_as = "3 m2"\n'
    text = BASE.replace("[build.curlew]", other + "[build.curlew]")
    (found,) = problems(bought, base=text)
    assert found == (
        'x.toml: purchase[1].sold_as: missing; "quillfeather" sells "cloth" in several sizes, '
        "write which"
    )


def test_a_listing_is_named_by_url_or_by_shop_and_part() -> None:
    for name in ("quillfeather/cloth", "https://quillfeather.example/p/cloth"):
        target = f'[[target]]\nlisting = "{name}"\nback_in_stock = true\n'
        assert book(target).targets[0].subject == "https://quillfeather.example/p/cloth"
    twice = (
        '[[part.cloth.listing]]\nsupplier = "quillfeather"\nsold_as = "3 m2"\n'
        'url = "https://quillfeather.example/p/cloth"\nchoice = "wide"\n'
    )
    text = BASE.replace("[build.curlew]", twice + "[build.curlew]")
    target = '[[target]]\nlisting = "quillfeather/cloth"\nback_in_stock = true\n'
    assert "names 2 listings; write one of" in problems(target, base=text)[0]


def test_the_same_key_in_two_files(tmp_path: Path) -> None:
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text('[part.a]\nname = "A"\n')
    two.write_text('[part.a]\nname = "A"\n[part.b]\nname = "B"\n')
    assert [part.key for part in read_book([one, two]).parts] == ["a", "b"]
    two.write_text('[part.a]\nname = "Other"\n')
    with pytest.raises(InputError) as caught:
        read_book([one, two])
    assert caught.value.problems == [
        f'{two}: part.a: "a" stands already in {one}: part.a with other content; keep one of them'
    ]


def test_references_may_lead_into_the_stored_book() -> None:
    more = """
    [build.gull]
    name = "Gull"
    from = "curlew"
    replace = [{ part = "cloth", by = "film", amount = "0.4 m2" }]
    [part.film]
    name = "Film"
    unit = "m2"
    [[part.cell-4s.listing]]
    supplier = "quillfeather"
    sold_as = "2 pieces"
    """
    document = parse_toml(more, "more.toml")
    read = book_from_document(document, "more.toml", book())
    assert read.builds[0].currency == "EUR"
    assert [part.key for part in read.parts] == ["film"]
    assert read.listings[0].key == "quillfeather/cell-4s"
    with pytest.raises(InputError, match='there is no build "curlew"'):
        book_from_document(document, "more.toml")


def test_a_changed_part_must_fit_what_is_stored() -> None:
    (listing, line) = problems('[part.cloth]\nname = "Glass cloth"\nunit = "g"\n', book(), base="")
    assert "stored listing https://quillfeather.example/p/cloth" in listing
    assert "stored build curlew, line 2" in line


def test_spans_and_percentages() -> None:
    text = """
    [[target]]
    part = "cloth"
    below_regular = "15 %"
    hold = "30 min"
    [[target]]
    build = "curlew"
    within_budget = "delivered"
    until = 2027-01-01
    """
    first, second, third = book(text).targets
    assert [first.key, third.key] == [
        "build:curlew:within_budget:delivered",
        "part:cloth:below_regular",
    ]
    assert second.kind == "part"
    assert (third.below_regular, third.hold) == (Decimal("0.15"), timedelta(minutes=30))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('part = "cloth"', "has none of at_or_below, unit_at_or_below"),
        ('part = "cloth"\nbuild = "curlew"\nat_or_below = "3 EUR"', "has part and build; keep exactly one"),
        ('part = "cloth"\nat_or_below = "3 EUR"\nlowest_in = "9 d"', "has at_or_below and lowest_in"),
        ('part = "cloth"\nwithin_budget = "share"', "only a build has a budget"),
        ('part = "cloth"\nbelow_regular = "150 %"', 'such as "15 %"'),
        ('part = "cloth"\nlowest_in = "soon"', '"90 d"'),
        ('part = "cloth"\nat_or_below = "38,00 EUR"', 'write it like "7.90 EUR"'),
        ('part = "cloth"\nat_or_below = "0 EUR"', "write an amount above 0"),
        ('part = "cloth"\nunit_at_or_below = "12.00 EUR/g"', "is a mass, but"),
        ('part = "cloth"\nback_in_stock = false', "says nothing"),
        ('listing = "quillfeather/x"\nback_in_stock = true', 'there is no listing "quillfeather/x"'),
        ('build = "gull"\nat_or_below = "3 EUR"', 'there is no build "gull"'),
        ('need = { cells = "6..4" }\nat_or_below = "3 EUR"', "write the smaller number first"),
    ],
)  # fmt: skip
def test_targets_that_cannot_be(text: str, words: str) -> None:
    assert words in "\n".join(problems(f"\n[[target]]\n{text}\n"))


def test_numbers_stay_exact_and_bounded() -> None:
    (found,) = changed('fee = "4.95"', "fee = 1e999999")
    assert "no usable number" in found
    (found,) = changed('fee = "4.95"', "fee = nan")
    assert "no usable number" in found
    (found,) = changed('fee = "4.95"', 'fee = "4.95 EUR"')
    assert "leave the currency off" in found
    (found,) = changed('fee = "4.95"', 'fee = "-4.95"')
    assert "is negative; write 0 or more" in found
    with pytest.raises(InputError, match="too long"):
        parse_toml("a = " + "9" * 5000, "x.toml")
    with pytest.raises(InputError, match="nested too deeply"):
        parse_toml("a = " + "[" * 5000, "x.toml")
    text = BASE.replace('fee = "4.95"', "fee = 4.95")
    read = book_from_document(parse_toml(text, "x"), "x")
    assert read.suppliers[0].shipping[0].fee == Decimal("4.95")


MIXED = """
[part.mixed]
name = "Laminating resin, mixed"
unit = "g"
mix = "100:42"
mix_of = ["epoxy", "hardener"]
[part.epoxy]
name = "Epoxy"
unit = "g"
[part.hardener]
name = "Hardener"
unit = "ml"
density = "1.02 g/ml"
"""


def test_a_mixture_names_its_ratio_and_its_components() -> None:  # common practice: by mass
    read = {part.key: part for part in book(MIXED).parts}
    assert read["mixed"].mix == (Decimal(100), Decimal(42))
    assert read["mixed"].mix_of == ("epoxy", "hardener")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"100:42"', '"100"', "is not a ratio by mass"),
        ('"100:42"', '"100:0"', "part.mixed.mix"),
        ('mix = "100:42"\n', "", "goes with mix"),
        (', "hardener"]', "]", "goes with mix"),
        ('["epoxy", "hardener"]', '["epoxy", "epoxy"]', "goes with mix"),
        ('"hardener"]', '"hardner"]', 'did you mean "hardener"?'),
        ('"hardener"]', '"mixed"]', "is itself mixed"),
        ('density = "1.02 g/ml"\n', "", "give part.hardener a density"),
    ],
)
def test_a_mixture_that_cannot_be_split(old: str, new: str, said: str) -> None:
    assert old in MIXED
    assert said in " ".join(problems(MIXED.replace(old, new)))


@pytest.mark.parametrize(
    ("written", "hours"),
    [("2.5", "2.5"), ('"2.5"', "2.5"), ('"2.5 h"', "2.5"), ('"90 min"', "1.5"), ("3", "3")],
)
def test_hours_of_a_line_and_of_a_build(written: str, hours: str) -> None:
    """60 minutes are an hour (SI brochure, table 8)."""
    text = BASE.replace("need_by =", f'hours = {written}\nlabour_rate = "12.00 EUR"\nneed_by =')
    text = text.replace('group = "drive" }', f'group = "drive", hours = {written} }}')
    build = book_from_document(parse_toml(text, "x.toml"), "x.toml", None).builds[0]
    assert build.hours == build.lines[0].hours == Decimal(hours)
    assert build.labour_rate == Money(Decimal("12.00"), "EUR")


@pytest.mark.parametrize("written", ["0", "-1", '"two"', "true", '"1 d"', '"h"'])
def test_hours_that_are_none(written: str) -> None:
    found = changed("need_by =", f"hours = {written}\nneed_by =")
    assert len(found) == 1
    assert found[0].startswith("x.toml: build.curlew.hours: ")


def test_a_labour_rate_has_a_currency() -> None:
    assert "labour_rate" in changed("need_by =", 'labour_rate = "12.00"\nneed_by =')[0]


def test_cloth_by_the_metre_has_its_least_and_step_in_metres() -> None:
    # common practice: cloth of 1.2 m width, half a metre at least, then by tenths of one
    text = 'sold_as = "1 m x 1.2 m"'
    stepped = BASE.replace(text, f'{text}\nleast = "0.5 m"\nstep = "10 cm"')
    listing = book_from_document(parse_toml(stepped, "x.toml"), "x.toml").listings[1]
    assert listing.least == Amount(Decimal("0.6"), "m2", size=(Decimal(500), Decimal(1200)))
    assert listing.step == Amount(Decimal("0.12"), "m2", size=(Decimal(100), Decimal(1200)))


def test_shelf_life_in_months() -> None:  # makers of resin and glue write months
    for written, days in (("6 months", 182.5), ("12 months", 365), ("1 month", 365 / 12)):
        text = BASE.replace('unit = "m2"', f'unit = "m2"\nshelf_life = "{written}"')
        found = book_from_document(parse_toml(text, "x.toml"), "x.toml")
        assert found.parts[1].shelf_life == timedelta(days=days)
