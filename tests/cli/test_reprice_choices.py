"""`reprice` as a user meets it: the rule, what counts, and a breakdown to hand on."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal

import openpyxl
import pytest
from command import ebbmark

BOOK = """
[supplier.tarnside]
name = "Tarnside Composites"
home = "https://tarnside.example/"
country = "NL"
currency = "EUR"
[part.mixed]
name = "Laminating resin, mixed"
unit = "g"
mix = "100:42"
mix_of = ["epoxy", "hardener"]
[part.epoxy]
name = "Epoxy A"
unit = "g"
listing = [{ supplier = "tarnside", url = "https://tarnside.example/a", sold_as = "1 kg" }]
[part.hardener]
name = "Hardener B"
unit = "g"
listing = [{ supplier = "tarnside", url = "https://tarnside.example/b", sold_as = "420 g" }]
[part.filler]
name = "Filler"
unit = "g"
listing = [
  { supplier = "tarnside", url = "https://tarnside.example/big", sold_as = "1 kg" },
  { supplier = "tarnside", url = "https://tarnside.example/small", sold_as = "300 g" },
]
[part.tape]
name = "Tape"
unit = "m"
listing = [{ supplier = "tarnside", url = "https://tarnside.example/tape", sold_as = "25 m" }]
[build.hull]
name = "Hull"
currency = "EUR"
hours = 10
lines = [
  { part = "mixed", amount = "142 g", group = "shell", hours = 2.5 },
  { part = "filler", amount = "100 g", group = "shell", note = "my own remark" },
  { part = "tape", amount = "2 m", group = "shell", counts = "stock" },
]
[build.paid]
name = "Hull with paid work"
from = "hull"
labour_rate = "12.00 EUR"
budget = "150.00"
need_by = 2027-04-01
[[purchase]]
part = "filler"
supplier = "tarnside"
sold_as = "300 g"
count = 1
total = "8.075 GBP"
on = 2016-06-24
"""
AT = "2026-11-24T12:00Z"
PAST = "listing,at,price,currency,availability\n" + "".join(
    f"https://tarnside.example/{page},2026-{day}T08:00:00Z,{price},EUR,in_stock\n"
    for page, day, price in (
        ("a", "11-24", "24.00"),
        ("b", "11-24", "16.00"),
        ("big", "09-01", "20.00"),
        *(("big", f"11-{day}", "20.00") for day in range(11, 21)),
        ("big", "11-24", "15.00"),
        ("small", "11-24", "5.90"),
        ("tape", "11-24", "5.00"),
    )
)


@pytest.fixture
def db(tmp_path, monkeypatch):
    config = tmp_path / "ebbmark.toml"
    config.write_text('supplies = { flat = "8.00 EUR" }\n')
    monkeypatch.setenv("EBBMARK_CONFIG", str(config))
    url = f"sqlite:///{tmp_path / 'book.db'}"
    (tmp_path / "book.toml").write_text(BOOK)
    (tmp_path / "past.csv").write_text(PAST)
    ran = ebbmark("--db", url, "load", str(tmp_path / "book.toml"))
    assert ran.code == 0, ran.err
    assert ebbmark("--db", url, "import", "history", str(tmp_path / "past.csv")).code == 0
    return url


def priced(db, build="hull", *more):
    ran = ebbmark("--db", db, "reprice", build, "--at", AT, "--json", *more)
    assert ran.code == 0, ran.err
    return ran.json


def test_mixture_supplies_and_hours_in_one_answer(db):
    """142 g at 100:42 are 100 g and 42 g; the flat sum stands alone (common practice)."""
    answer = priced(db)
    shares = {line["part"]: line["share"] for line in answer["lines"]}
    assert shares == {
        "epoxy": "2.40",
        "hardener": "1.60",
        "filler": "1.50",
        "tape": "0.00",
        "workshop supplies": "8.00",
    }
    assert answer["totals"]["share"] == "13.50"
    assert any(text.startswith("12.5 h of your own work") for text in answer["warnings"])


def test_a_rate_makes_hours_a_group(db):  # 12.5 x 12.00
    answer = priced(db, "paid")
    labour = [line for line in answer["lines"] if line["group"] == "labour"]
    assert [(x["part"], x["amount"], x["unit"], x["share"]) for x in labour] == [
        ("labour", "12.5", "h", "150.00")
    ]
    assert answer["totals"]["share"] == "163.50"


def test_keys_of_a_line_stay_as_they_are_told(db):
    """The keys that the interface's description lists, no more and no fewer."""
    told = "part group amount unit counts listing supplier rule sold_as price currency rate buy"
    told += " share to_spend paid delivered on_hand mass status age_hours hint"
    for line in priced(db, "paid")["lines"]:
        assert list(line) == told.split()


def test_paid_is_counted_at_the_rate_of_the_day(db):
    """ECB, 2016-06-24: 1 EUR = 0.8075 GBP; 8.075 GBP for 300 g are 10.00 EUR, 100 g 3.33."""
    line = next(x for x in priced(db)["lines"] if x["part"] == "filler")
    assert (line["paid"], line["on_hand"]) == ("3.33", "100")


def test_the_rule_is_the_users(db):
    """The rule that took a listing is shown beside it."""
    for rule, name in (("cheapest", "cheapest per unit"), ("least-spend", "least to spend")):
        rules = {x["rule"] for x in priced(db, "hull", "--rule", rule)["lines"] if x["listing"]}
        assert rules == {name}
    assert ebbmark("--db", db, "reprice", "hull", "--rule", "dearest").code == 2


def test_another_currency_and_country(db):
    answer = priced(db, "hull", "--currency", "gbp", "--country", "de")
    assert (answer["currency"], answer["destination"]) == ("GBP", "DE")
    epoxy = answer["lines"][0]
    rate = Decimal(epoxy["rate"])
    # Directive 2006/112/EC Art. 96 rates: 21 % in NL, 19 % in DE; 100 g of 1 kg at 24.00
    want = Decimal("2.40") * rate * Decimal("1.19") / Decimal("1.21")
    assert epoxy["share"] == str(want.quantize(Decimal("0.01")))


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--country", "Holland"), "write its two letters"),
        (("--currency", "XXQ"), "ISO 4217"),
        (("--columns", "share"), "name one, like --md FILE"),
        (("--md", "x.md", "--columns", "price"), "choose from share"),
        (("--md", "x.md", "--without", "names"), "none of suppliers, paid, notes"),
    ],
)
def test_a_wrong_choice_says_what_to_write(db, tmp_path, monkeypatch, args, said):
    monkeypatch.chdir(tmp_path)
    ran = ebbmark("--db", db, "reprice", "hull", "--at", AT, *args)
    assert ran.code == 2
    assert said in ran.err
    assert not (tmp_path / "x.md").exists()


def written(db, tmp_path, form, *more):
    path = tmp_path / f"out.{form}"
    ran = ebbmark("--db", db, "reprice", "hull", "--at", AT, f"--{form}", str(path), *more)
    assert ran.code == 0, ran.err
    return path


def test_a_breakdown_to_publish_says_day_sales_and_what_is_left_out(db, tmp_path):
    columns = ("--columns", "share,from_nothing,paid,usual")
    text = written(db, tmp_path, "md", *columns).read_text()
    assert "Prices of 2026-11-24, in EUR" in text
    assert "Sale prices: Filler." in text  # 15.00, 20.00 before
    assert "Not counted: shipping, duty and fees; tools; your hours." in text
    row = next(line for line in text.splitlines() if line.startswith("| Filler"))
    cells = [cell.strip() for cell in row.split("|")]
    # in this model, a whole tub from nothing although 300 g are on hand, paid, usual 20.00 / 10
    # (9 days at 20.00, 4 hours at 15.00)
    assert cells[4:8] == ["1.50", "15.00", "3.33", "2.00"]
    assert "half of the watched time of 90 days" in text
    assert "Usual price not known, watched for less than a week: Epoxy A, Hardener B." in text
    assert "delivered is not known" not in text  # nobody asked for it
    total = next(line for line in text.splitlines() if line.startswith("| **Total"))
    assert total.split("|")[7].strip() == "**at least 10.00**"  # with 8.00 of supplies


def test_what_is_left_out_is_nowhere(db, tmp_path):
    for form in ("csv", "xlsx", "md", "bbcode", "html"):
        path = written(db, tmp_path, form, "--without", "suppliers,paid,notes")
        text = path.read_text() if form != "xlsx" else _cells(path)
        assert "arnside" not in text
        assert "3.33" not in text
        assert "my own remark" not in text


def _cells(path):
    page = openpyxl.load_workbook(path).active
    return " ".join(str(cell) for row in page.iter_rows(values_only=True) for cell in row)


def test_data_go_by_keys_and_add_up(db, tmp_path):
    rows = list(csv.DictReader(io.StringIO(written(db, tmp_path, "csv").read_text())))
    assert {row["part"] for row in rows} >= {"epoxy", "hardener", "filler"}
    total = rows.pop()
    assert Decimal(total["share"]) == sum(Decimal(row["share"]) for row in rows)
    assert json.loads(json.dumps(rows[0]))["currency"] == "EUR"


def test_the_reason_of_every_line_stands_below_the_table(db):
    out = ebbmark("--db", db, "reprice", "paid", "--at", AT).out
    assert "rule: cheapest per unit" in out
    assert "epoxy: component of mixed, mixed 100:42 by mass" in out
    assert "labour: 12.00 EUR an hour" in out


PAGE = """<!doctype html><html lang="en"><head><title>Tape</title>
<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product",
"name":"Tape","offers":{"@type":"Offer","price":"5.00","priceCurrency":"EUR",
"availability":"https://schema.org/InStock"}}</script></head><body><h1>Tape</h1>
<p class="price">\u20ac5.00</p><table class="tier-prices">
<tr><th>Quantity</th><th>Price</th></tr><tr><td>1</td><td>\u20ac5.00</td></tr>
<tr><td>3+</td><td>\u20ac4.00</td></tr></table></body></html>
"""


def test_prices_for_several_on_the_page_count(db, tmp_path):
    """75 m are three rolls, which the page's own table sells at 4.00 each."""
    (tmp_path / "tape.html").write_text(PAGE)
    more = BOOK.partition("[build.hull]")[0] + (
        '[build.wrap]\nname = "Wrap"\ncurrency = "EUR"\n'
        'lines = [{ part = "tape", amount = "75 m" }, { part = "tape", amount = "1 m" }]\n'
    )
    (tmp_path / "more.toml").write_text(more)
    assert ebbmark("--db", db, "load", str(tmp_path / "more.toml")).code == 0
    ran = ebbmark(
        "--db", db, "poll", "https://tarnside.example/tape", "--from", str(tmp_path / "tape.html")
    )
    assert ran.code == 0, ran.out + ran.err
    totals = ebbmark("--db", db, "reprice", "wrap", "--json").json["totals"]
    assert totals["to_spend"] == "16.00"  # four rolls
    then = ebbmark("--db", db, "reprice", "wrap", "--at", AT, "--json").json["totals"]
    assert then["to_spend"] == "20.00"  # on that day nobody had read the table


ODD = """
[supplier.tarnside]
name = "Tarnside Composites"
[part.bat-a]
name = "Battery A"
spec = { cells = 4 }
listing = [{ supplier = "tarnside", url = "https://tarnside.example/bat-a", sold_as = "1 piece" }]
[part.bat-b]
name = "Battery B"
spec = { cells = 4 }
listing = [{ supplier = "tarnside", url = "https://tarnside.example/bat-b", sold_as = "1 piece" }]
[part.motor]
name = "Motor"
[part.esc]
name = "Controller"
[[set]]
supplier = "tarnside"
url = "https://tarnside.example/set"
supplies = [
  { part = "motor", amount = "1 piece", split = "60 %" },
  { part = "esc", amount = "1 piece", split = "40 %" },
]
[build.odd]
name = "Odd"
currency = "EUR"
lines = [
  { need = { cells = 4 }, amount = "1 piece" },
  { part = "motor", amount = "1 piece" },
]
[[purchase]]
part = "bat-b"
count = 1
total = "42.00 EUR"
on = 2026-11-01
"""


def test_from_nothing_and_usual_are_of_the_part_and_the_set_that_are_shown(db, tmp_path):
    """A set of which one part is used costs its whole price, usually too (common practice)."""
    days = range(10, 25)
    (tmp_path / "odd.toml").write_text(ODD)
    assert ebbmark("--db", db, "load", str(tmp_path / "odd.toml")).code == 0
    past = "listing,at,price,currency,availability\n" + "".join(
        f"https://tarnside.example/{page},2026-11-{day}T08:00:00Z,{price},EUR,in_stock\n"
        for page, price in (("bat-a", "40.00"), ("bat-b", "42.00"), ("set", "85.00"))
        for day in days
    )
    (tmp_path / "odd.csv").write_text(past)
    assert ebbmark("--db", db, "import", "history", str(tmp_path / "odd.csv")).code == 0
    path = tmp_path / "odd-out.csv"
    columns = ("--columns", "share,to_spend,from_nothing,usual")
    ran = ebbmark("--db", db, "reprice", "odd", "--at", AT, "--csv", str(path), *columns)
    assert ran.code == 0, ran.err
    rows = list(csv.DictReader(io.StringIO(path.read_text())))
    shown = [(r["part"], r["share"], r["to_spend"], r["from_nothing"], r["usual"]) for r in rows]
    assert shown[:2] == [
        ("bat-b", "42.00", "0.00", "42.00", "42.00"),
        ("motor", "85.00", "85.00", "85.00", "85.00"),
    ]


def test_budget_and_day_stand_beside_the_totals(db):
    """12.5 h at 12.00 are 150.00 by themselves: what the model costs is above the budget by
    what its goods come to."""
    answer = priced(db, "paid")
    assert (answer["budget"], answer["need_by"]) == ("150.00", "2027-04-01")
    over = Decimal(answer["totals"]["share"]) - 150
    left = 150 - Decimal(answer["totals"]["to_spend"])
    out = ebbmark("--db", db, "reprice", "paid", "--at", AT).out
    said = " ".join(out.split())
    assert f"budget 150.00 EUR; in this model {over} above it; to spend {left} below it" in said
    assert "needed by 2027-04-01" in said
    other = priced(db, "paid", "--currency", "GBP")
    assert (other["budget"], other["need_by"]) == (None, "2027-04-01")
