"""Any bytes: encodings, depth, size, nonsense; a Reading always comes back, in bounded time."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scrapers.decode import codec_of, decode, not_text
from scrapers.errors import RuleError
from scrapers.model import Outcome, Page, Reading, SiteRules
from scrapers.read import AT_ONCE, read_at_once, read_page
from scrapers.readers.lenient import parse, too_deep
from scrapers.readers.rule import check_rules, compile_rule
from scrapers.structure import MAX_DEPTH, MAX_FORMATTING, joins, structure

AT = datetime(2026, 11, 24, tzinfo=UTC)
GOODS = '<h1>Part</h1><p class="price">£5.00</p><button>Add to cart</button>'
PAGES = [
    p.read_bytes() for p in sorted((Path(__file__).parents[2] / "pages").glob("*/*/page.html"))
]


def read(body: str | bytes, content_type: str | None = "text/html", **more: bool) -> Reading:
    raw = body.encode() if isinstance(body, str) else body
    return read_page(Page("https://shop.example/p/1", raw, content_type, AT, **more))


# WHATWG Encoding Standard, section 4.2 (labels), and HTML, "determining the character encoding".
@pytest.mark.parametrize(
    ("body", "header", "text"),
    [
        ("£".encode(), None, "£"),
        ("£".encode("latin-1"), "text/html; charset=ISO-8859-1", "£"),
        (b"\x80", "text/html; charset=latin1", "€"),
        (b'<meta charset="windows-1251">\xd0', None, '<meta charset="windows-1251">Р'),
        ("\ufeff£".encode(), "text/html; charset=latin1", "£"),
        ("\ufeff£".encode("utf-16-le"), "text/html; charset=utf-8", "£"),
        ("\ufeff£".encode("utf-16-be"), None, "£"),
        (b"\xa3", "text/html; charset=rot13", "£"),
        ("£".encode(), "text/html; charset=utf-7", "£"),
        ("£".encode(), 'text/html; charset="UTF8"', "£"),
        (b'<meta charset="utf-16">' + "£".encode(), None, '<meta charset="utf-16">£'),
    ],
)
def test_encoding(body: bytes, header: str | None, text: str) -> None:
    assert decode(body, header).text == text


@pytest.mark.parametrize(
    "label", ["utf-7", "rot13", "idna", "zlib_codec", "base64", "punycode", "unknown"]
)
def test_no_other_codec(label: str) -> None:
    assert codec_of(label) is None


@pytest.mark.parametrize(
    "body", [b"%PDF-1.4 x", b"\x89PNG\r\n\x1a\n...", b"PK\x03\x04....", b"\x00\x01\x02\x03" * 50]
)
def test_binary_is_no_page(body: bytes) -> None:
    assert not_text(body) is not None
    assert read(body).outcome is Outcome.NOT_PRODUCT


def test_structure_counts() -> None:
    assert structure(b"<p>a<p>b<br><li>c").depth <= 2
    assert structure(b"<div>" * 10 + b"</div>" * 10).depth == 10
    assert structure(b"<div></x>" * (MAX_DEPTH + 9)).heavy, "stray closers hide no depth"
    assert structure(b"<B>" * (MAX_FORMATTING + 1)).heavy
    assert not structure(b"<B>" * MAX_FORMATTING).heavy
    assert not structure(b"<b>x</b>" * 5_000).heavy
    assert not structure(b"<script>if(a<b&&c<d)e()</script>" * 900).heavy
    assert structure(b"<a&b>" * 5_000).heavy, "odd names nest as any other"


TAGS = [
    "div",
    "span",
    "a",
    "B",
    "section",
    "article",
    "x-y",
    "figcaption",
    "svg",
    "blockquote",
    "Em",
]
FORMS = ["<{}>", '<{} class="x">', "</{}>", "</{} >", "<{}/>", "<{}\n>"]


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(FORMS), st.sampled_from(TAGS)), max_size=60))
def test_structure_equals_the_plain_count(pieces: list[tuple[str, str]]) -> None:
    opened: dict[str, int] = {}
    deepest = formatting = 0
    for form, name in ((f, n.lower()) for f, n in pieces):
        if not form.startswith("</"):
            opened[name] = opened.get(name, 0) + 1
        elif opened.get(name):
            opened[name] -= 1
        deepest = max(deepest, sum(opened.values()))
        formatting = max(formatting, sum(opened.get(n, 0) for n in ("a", "b", "em")))
    page = "".join(form.format(name) for form, name in pieces).encode()
    assert structure(page)[:2] == (deepest, formatting)


def joined(page: bytes) -> bool:
    return joins(page, structure(page).tags)


# HTML 13.2.6.4: tags that make no element where they stand, so that the text on both sides joins
@pytest.mark.parametrize(
    ("start", "tag"),
    [
        ("<div>", "<td a=b>"),
        ("<div>", "</x a=b>"),
        ("<table>", "<script a=b></script>"),
        ("<div>", "<html a{n}></html>"),
        ("<svg><title>", "<TD\na='b'>"),
    ],
)
def test_text_that_is_joined_again_and_again_is_told_before_the_parse(start: str, tag: str) -> None:
    page = start + "".join(f"{tag.format(n=n)}{'x' * 24}" for n in range(20_000))
    assert joined(page.encode())
    assert not joined(page[:120_000].encode())


def test_few_open_elements_copied_into_many_blocks_are_told_before_the_parse() -> None:
    """HTML 13.2.4.3: every paragraph below gets 60 elements, a page of 120 kB two million."""
    left_open = "".join(f"<b id=a{n}>" for n in range(60))
    assert structure(f"<p>{left_open}</p>{'<p>x' * 30_000}".encode()).heavy
    assert not structure(f"<p>{left_open}</p>{'<p>x' * 1_000}".encode()).heavy


def test_large_tables_and_scripts_join_no_text() -> None:
    row = '<tr class="row"><td class="name">Part</td>\n<td class="price">5.00</td></tr>\n'
    assert not joined(("<table>" + row * 2_500 + "</table>").encode())
    assert not joined(("<script>" + "if(a<b){c='d=e'}" * 40_000 + "</script>").encode())


def test_a_list_that_many_offers_refer_to_is_read_a_bounded_number_of_times() -> None:
    """JSON-LD 1.1, 3.3: nodes refer to one another by @id, as often as they like."""
    entry = {"@type": "Offer", "price": "5.00", "priceCurrency": "EUR"}
    long = {"@id": "#all", "@type": "AggregateOffer", "lowPrice": "5.00", "offers": [entry] * 400}
    part = {"@type": "Product", "name": "Part", "offers": [{"@id": "#all"}] * 400}
    others = [
        {"@type": "Product", "name": f"Part {n}", "offers": {"@id": "#all"}} for n in range(400)
    ]
    for things in ([part, long], [*others, long]):
        markup = json.dumps({"@graph": things})
        start = time.process_time()
        read(f'<script type="application/ld+json">{markup}</script><h1>Part</h1>')
        assert time.process_time() - start < 2


@pytest.mark.parametrize("kind", ["offers", "boxes"])
def test_time_grows_with_the_size_of_the_page(kind: str) -> None:
    """Findings of pages with one thing over and over: 20 times the things, 20 times the time."""

    def page(count: int) -> str:
        if kind == "boxes":
            return "".join(f'<div class="price">\u20ac{n}.99</div>' for n in range(count))
        offer = '<p itemprop="offers" itemscope><b itemprop="price" content="{}.99"></b></p>'
        offers = "".join(offer.format(n) for n in range(count))
        return f'<div itemscope itemtype="https://schema.org/Product">{offers}</div>'

    took = []
    for count in (200, 200, 4_000):
        start = time.process_time()
        read(f"<h1>Part</h1>{page(count)}<button>Add to cart</button>")
        took.append(time.process_time() - start)
    assert took[2] < 60 * max(took[1], 0.01)


def test_deep_page_is_read_in_a_process_of_its_own() -> None:
    made = read("<div>" * 700 + GOODS)
    assert (made.outcome, made.price) == (Outcome.OK, Decimal("5.00"))


@pytest.mark.parametrize(
    "bomb", ["<div>" * 60_000, "".join(f"<b id={n}>" for n in range(500)) + "<p>x" * 60_000]
)
def test_a_page_that_cannot_be_parsed_in_bounds_is_too_large(bomb: str) -> None:
    start = time.monotonic()
    made = read(bomb + GOODS)
    assert made.outcome in (Outcome.TOO_LARGE, Outcome.OK)
    assert time.monotonic() - start < 15  # 2 s of CPU, on a machine that may be busy


def test_empty_and_cut_short() -> None:
    assert read(b"").outcome is Outcome.BROKEN
    assert read(GOODS, complete=False).outcome is Outcome.DOUBTFUL
    assert read("<h1>Part", complete=False).outcome is Outcome.BROKEN


@pytest.mark.parametrize(
    "line",
    [
        f"statt 15,90 \u20ac nur {'9' * 42},90 \u20ac",
        f"\u20ac4.20 <small>inc GST{'9' * 40}</small>",
        f"\u20ac4.20 <i>ab {'9' * 30} St\u00fcck je 3,90 \u20ac</i> <i>{'9' * 33} \u20ac</i>",
    ],
)
def test_numbers_of_more_digits_than_any_price(line: str) -> None:
    """Findings of the mutated pages: digits run together broke the rounding to cents."""
    made = read(f'<h1>Part</h1><p class="price">{line}</p><button>Add to cart</button>')
    assert "could not be read" not in (made.reason or "")
    for amount in (made.price, made.list_price, made.low, made.high):
        assert amount is None or amount < 10**12


def test_a_price_behind_many_old_ones_keeps_its_proof() -> None:
    old = "".join(f'<p class="old-price">was \u00a3{n}.00</p>' for n in range(31, 76))
    made = read(f'<h1>Part</h1>{old}<p class="price">\u00a319.99</p><button>Add to cart</button>')
    assert (made.outcome, made.price) == (Outcome.OK, Decimal("19.99"))
    assert any("19.99" in proof.value for proof in made.evidence)


def test_a_price_told_by_the_row_of_one_piece_has_that_row_as_proof() -> None:
    """A finding of the mutated pages: only the markup's last row stood in the evidence."""
    rows = "".join(
        f"<tr><td>{n}</td><td>${each}</td><td>${sum_}</td></tr>"
        for n, each, sum_ in ((1, "4.31", "4.31"), (10, "3.62", "36.20"), (100, "2.48", "248.00"))
    )
    offer = {"@type": "Offer", "price": "2.48", "priceCurrency": "USD"}
    markup = json.dumps({"@type": "Product", "name": "Part", "offers": offer})
    made = read(
        f'<script type="application/ld+json">{markup}</script><h1>Part</h1><table>{rows}</table>'
        "<button>Add to cart</button>"
    )
    assert (made.outcome, made.price) == (Outcome.OK, Decimal("4.31"))
    assert any(e.field == "price" and "4.31" in e.value for e in made.evidence)


def test_a_number_before_a_sign_is_no_amount_of_a_row() -> None:
    """A finding of the mutated pages: "1 9" (once "1 - 9") before "$4.31" was read as $9."""
    rows = (("1  9", "$4.31"), ("10 to 99", "$3.62"), ("100 or more", "$2.48"))
    table = "".join(f"<tr><td>{n}</td><td>{each} each</td></tr>" for n, each in rows)
    made = read(f"<h1>Part</h1><table>{table}</table><button>Add to cart</button>")
    assert made.price in (None, Decimal("4.31"))
    assert Decimal(9) not in (made.low, made.high, *(m.price for m in made.multibuy))


def test_json_is_bounded() -> None:
    assert parse("[" * 100_000).refused
    assert too_deep("[" * 65 + "]" * 65)
    assert not too_deep(json.dumps(["[" * 500]))
    blocks = '<script type="application/ld+json">{}</script>' * 2_001
    assert "JSON-LD" in (read(f"<head>{blocks}</head>").reason or "")
    assert read(
        f'<script type="application/ld+json">{"[" * 200_000}</script>{GOODS}'
    ).price == Decimal("5.00")


# RFC 8259, and the usual ways to break it.
@pytest.mark.parametrize(
    "text",
    [
        '{"a":1,}',
        '{"a":1}//x',
        '/*x*/{"a":1}',
        '<![CDATA[{"a":1}]]>',
        "{&quot;a&quot;:1}",
        '{"a":1};',
        '<!--{"a":1}-->',
    ],
)
def test_lenient_json(text: str) -> None:
    assert parse(text).values == ({"a": 1},)


def test_rules_that_cannot_be_used_say_why() -> None:
    for text, why in [
        ("price", "begins with"),
        ("css:", "nothing stands"),
        ("css:p[", "CSS selector"),
        ("re:(?<=a)b", "looks ahead or behind"),
        (r"re:(a)\1", "refers back"),
        ("re:(", "cannot be used"),
        ("re:" + "a" * 501, "500"),
        ("json:a b..[", "JSON path"),
    ]:
        with pytest.raises(RuleError, match=why):
            compile_rule(text)
    check_rules(SiteRules(price="css:.price", title="re:<h1>([^<]+)", list_price="json:a[0].b"))


def test_a_hostile_pattern_ends_in_linear_time() -> None:
    start = time.process_time()
    page = Page("https://shop.example/", ("<p>" + "a" * 60_000).encode(), "text/html", AT)
    assert read_page(page, SiteRules(price="re:(a+)+$x")).outcome is Outcome.DOUBTFUL
    assert time.process_time() - start < 2


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.binary(max_size=600))
def test_any_bytes(body: bytes) -> None:
    made = read(body)
    assert not (made.reason or "").startswith("the page could not be read")


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PAGES), st.integers(0, 4_000), st.binary(max_size=30), st.integers(0, 60))
def test_any_change_of_a_page(body: bytes, at: int, piece: bytes, cut: int) -> None:
    made = read(body[:at] + piece + body[at + cut :])
    assert not (made.reason or "").startswith("the page could not be read")
    if made.outcome is Outcome.OK:
        assert made.price is not None
        assert made.currency is not None
        assert made.evidence


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                [
                    "@type",
                    "@id",
                    "offers",
                    "price",
                    "priceCurrency",
                    "priceSpecification",
                    "hasVariant",
                    "availability",
                    "lowPrice",
                    "highPrice",
                    "name",
                    "sku",
                    "brand",
                    "eligibleQuantity",
                    "referenceQuantity",
                    "shippingDetails",
                    "priceType",
                    "url",
                    "itemOffered",
                ]
            ),
            inner,
            max_size=5,
        )
    ),
    max_leaves=25,
)


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(JSON)
def test_any_json_ld(value: object) -> None:
    text = json.dumps({"@type": "Product", "name": "Part", "offers": value})
    made = read(f'<script type="application/ld+json">{text}</script><h1>Part</h1>')
    assert not (made.reason or "").startswith("the page could not be read"), text


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.text(max_size=40), st.text(max_size=60))
def test_any_rule(kind: str, body: str) -> None:
    for text in (kind, f"css:{body}", f"re:{body}", f"json:{body}"):
        page = Page("https://shop.example/", GOODS.encode(), "text/html", AT)
        made = read_page(page, SiteRules(price=text))
        assert not (made.reason or "").startswith("the page could not be read"), text


def test_only_small_and_light_pages_are_read_at_once() -> None:
    """The tree builder copies every unclosed formatting element into every block (HTML 13.2.4.3)."""
    light = Page("http://shop.example/", GOODS.encode(), "text/html", AT)
    assert read_at_once(light) == read_page(light)
    assert read_at_once(replace(light, body=light.body + b" " * AT_ONCE)) is None
    copied = "".join(f"<b id=a{n}>" for n in range(400)) + "<p>x" * 12_000
    assert len(copied) < AT_ONCE
    assert read_at_once(replace(light, body=copied.encode())) is None
