"""Days on which a shop cut much of what it sells, beside the history of one of its listings.

A third or more of a supplier's watched listings falling within two days (this project's rule).
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from book_kit import kit

from scrapers import Availability, Tax
from service.flows.past import history
from service.model.prices import Observation, Offer

SHOPS = "".join(
    f'[supplier.{name}]\nname = "{name}"\nhome = "https://{name}.example/"\ncurrency = "EUR"\n'
    for name in ("one", "two")
)
PARTS = "".join(
    f'[part.p{n}]\nname = "P{n}"\nunit = "piece"\nlisting = [\n'
    f'{{ supplier = "one", url = "https://one.example/{n}", sold_as = "1 piece" }},\n'
    f'{{ supplier = "two", url = "https://two.example/{n}", sold_as = "1 piece" }}]\n'
    for n in range(5)
)


@pytest.fixture
def book(tmp_path):
    with kit(tmp_path, SHOPS + PARTS) as made:
        yield made


def watch(book, falls, days):
    """A price a day for 40 days; `falls`: the listings that are cheaper from day 30 to 35."""
    start = book.clock() - timedelta(days=days)
    with book.deps.store.write() as unit:
        for day in range(40):
            for key, listing in book.ids().items():
                low = key in falls and 30 <= day < 35
                offer = Offer(
                    Decimal(75 if low else 100), "EUR", None, Availability.IN_STOCK, Tax.INCLUDED
                )
                at = start + timedelta(days=day)
                unit.log.record([Observation(listing, at, offer, "import")])


def sales_of(book, key):
    return [x for x in history(book.deps, key)["calendar"] if x["kind"] == "shop_sale"]


def test_only_the_shop_that_cut_its_prices_has_a_sale(book):
    watch(book, {f"https://one.example/{n}" for n in range(3)}, days=40)
    (sale,) = sales_of(book, "https://one.example/4")
    assert (sale["supplier"], sale["listings"], sale["of"]) == ("one", 3, 5)
    assert sale["depth"] == "0.250"
    assert sales_of(book, "https://two.example/4") == []
    assert len(sales_of(book, "p4")) == 1  # a part names the sales of all who sell it


def test_sales_older_than_two_years_are_no_longer_told(book):
    watch(book, {f"https://one.example/{n}" for n in range(3)}, days=800)
    assert sales_of(book, "https://one.example/4") == []
