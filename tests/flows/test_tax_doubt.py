"""A price that changes by exactly the tax of its supplier's country is kept aside.

Standard rates (European Commission, "VAT rates applied in the Member States"): Netherlands
21 %, Germany 19 %. The book's suppliers are Dutch.
"""

from __future__ import annotations

import asyncio

import pytest
from book_kit import MOTOR, kit
from shop_page import product_page

from scrapers import Outcome
from service.flows.poll import poll_these


def visit(book, price):
    book.fetcher.pages = {MOTOR: product_page(price)}
    lines = []
    asyncio.run(poll_these(book.deps, [book.ids()[MOTOR]], on_line=lines.append))
    book.clock.pass_(hours=6)
    return lines[0]


@pytest.mark.parametrize(
    ("after", "outcome", "word"),
    [
        ("121.00", Outcome.DOUBTFUL, "plus 21 % tax"),
        ("119.00", Outcome.OK, None),  # Germany's rate is a change like any other here
    ],
)
def test_the_rate_of_the_country(tmp_path, after, outcome, word):
    with kit(tmp_path) as book:
        assert visit(book, "100.00").outcome is Outcome.OK
        line = visit(book, after)
    assert line.outcome is outcome
    assert (word is None) == (line.reason is None)
    assert word is None or word in (line.reason or "")
