"""A dump carries a book whole: what was bought, is on its way, came back, was used and billed.

Checked by the equality of everything that a book answers before and after, and by double
entry: money out is the same sum in both.
"""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pg
import pytest
from book_events import MORE, Plain, euro, events
from book_kit import CATALOGUE, kit
from exchange_books import books
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.errors import InputError
from service.exchange.catalogue import book_from_document, dump_book, parse_toml
from service.exchange.history import spell_rows
from service.flows import ask, build_edit, companions, edit, order_list, orders, workshop
from service.flows.buying import Bought, buy
from service.flows.ordering import Terms, place, read_wanted
from service.flows.orders import Change
from service.flows.past import spells_of
from service.flows.stock import stock
from service.model.money import Money
from service.model.prices import Observation, Offer
from service.store.database import open_store

D = Decimal
BUILDS = ("racer", "skua", "old")


@contextmanager
def source():
    with tempfile.TemporaryDirectory() as folder, kit(Path(folder), CATALOGUE + MORE) as one:
        edit.book_price(one.deps, "motor", euro("31.00"), "motors")
        edit.book_price(one.deps, "glue", euro("5.00"), "motors", sold_as="100 g")
        yield one.deps


@contextmanager
def fresh(deps, url: str):
    with open_store(url) as store:
        yield replace(deps, store=store)


def text_of(deps) -> str:
    return dump_book(edit.known_book(deps))


def load(deps, text: str) -> int:
    found = book_from_document(parse_toml(text, "dump"), "dump", edit.known_book(deps))
    return edit.load_book(deps, found)


def answers(deps, builds=BUILDS) -> dict[str, object]:
    """Everything that follows from what was booked."""
    return {
        "stock": stock(deps),
        "past": stock(deps, "2026-01-31"),
        "orders": order_list.orders(deps),
        "builds": [ask.reprice(deps, key) for key in builds],
    }


def carry(deps, other, builds=BUILDS) -> None:
    """Catalogue and diary by their text, past prices as their file carries them."""
    text = text_of(deps)
    load(other, text)
    edit.import_history(other, list(spell_rows(*spells_of(deps, []))))
    assert text_of(other) == text
    assert load(other, text) == 0
    assert load(deps, text) == 0
    assert text_of(deps) == text
    assert answers(other, builds) == answers(deps, builds)


@pytest.fixture(scope="module")
def server():
    try:
        with pg.server() as url, pg.database(url) as one:
            yield one
    except pg.NoServerError as reason:
        pytest.skip(str(reason))


@given(st.lists(events, min_size=1, max_size=12))
@settings(max_examples=25, deadline=None)
def test_a_whole_book_into_an_empty_one(known) -> None:
    with source() as deps, tempfile.TemporaryDirectory() as folder:
        plain = Plain(deps)
        for event in known:
            plain.happen(event)
        with fresh(deps, f"sqlite:///{folder}/other.db") as other:
            carry(deps, other)
            assert D(stock(other)["money"]["out"]) == plain.out


@pytest.mark.postgres
@given(st.lists(events, min_size=1, max_size=12))
@settings(
    max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_a_whole_book_into_postgresql(server, known) -> None:
    with source() as deps, pg.schema(server) as url, fresh(deps, url) as other:
        plain = Plain(deps)
        for event in known:
            plain.happen(event)
        carry(deps, other)
        assert D(stock(other)["money"]["out"]) == plain.out


@given(books(), st.lists(st.decimals("0.01", "99", places=2), min_size=3, max_size=3))
@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
def test_any_book_answers_the_same_elsewhere(made, prices) -> None:
    """Also books that nobody would keep: more came back than was bought, days out of order."""
    with tempfile.TemporaryDirectory() as folder, kit(Path(folder), "") as one:
        deps = one.deps
        edit.load_book(deps, made)
        at = deps.clock()
        offers = [Offer(price, "EUR") for price in prices]
        listed = zip(edit.known_book(deps).listings, offers, strict=False)
        rows = [(listing.key, Observation(0, at, offer)) for listing, offer in listed]
        edit.import_history(deps, rows)
        with fresh(deps, f"sqlite:///{folder}/other.db") as other:
            carry(deps, other, [build.key for build in made.builds])


def test_every_kind_of_entry_is_carried(tmp_path) -> None:
    with source() as deps:
        lines = [read_wanted("4 x motor @ 30.00 EUR"), read_wanted("2 x glue = 9.00 EUR")]
        terms = Terms(
            "motors", "2026-01-05", euro("4.95"), euro("12.00"), euro("99.50"), "by post\nfragile"
        )
        place(deps, lines, terms, '2026/7 "B"')
        key = '2026/7 "B"'
        orders.arrive(deps, key, Change("motor", D(2), on="2026-01-09"))
        orders.wrong(deps, key, Change("motor", D(1), note="bent shaft"))
        orders.give_back(deps, key, Change("motor", D(1), postage=euro("6.75")))
        orders.refund(deps, key, Money(D("31.10"), "USD"), Change("motor"))
        orders.cancel(deps, key, Change("glue", D(1)))
        orders.bill(deps, key, "customs", euro("7.77"), note="duty")
        buy(deps, "resin", D(500), euro("25.00"), Bought(on="2025-01-02"))
        workshop.use(deps, "motor", "1", "racer")
        workshop.use(deps, "resin", "120 g", "old", note="crash")
        workshop.use(deps, "resin", "20 g", "old", repair=True, back=True)
        workshop.sell(deps, "resin", "50 g", euro("3.00"), postage=euro("1.00"))
        workshop.write_off(deps, "resin", "10 g", note="spilt")
        workshop.still_good(deps, "resin")
        buy(deps, "ply", D(1), euro("9.00"))
        workshop.set_offcut(deps, "ply", "300 x 400 mm", 2)
        companions.own_rules(deps, "# mine\n")
        build_edit.dismiss(deps, "racer", "no such hint")
        with fresh(deps, f"sqlite:///{tmp_path / 'other.db'}") as other:
            carry(deps, other)
            told = order_list.order(other, key)
            assert [x["state"] for x in told["lines"]] == ["part arrived", "ordered"]
            assert told["late_bills"] == "7.77 EUR"
            assert stock(other)["on_hand"][1]["offcuts"] == ["2 x 300 x 400 mm"]


def test_a_dump_of_one_build_tells_what_was_kept_and_no_more() -> None:
    with source() as deps:
        place(deps, [read_wanted("1 x motor @ 30.00 EUR")], Terms("motors"), "o1")
        place(deps, [read_wanted("1 x motor @ 29.00 EUR")], Terms("motors"), "o2")
        orders.cancel(deps, "o2", Change())
        book = edit.known_book(deps)
        text = dump_book(book, build="racer")
        assert ("30.00 EUR" in text, "29.00 EUR" in text, "[order" in text) == (True, False, False)
        assert "purchase" not in dump_book(book, build="racer", public=True)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            '[[purchase]]\npart = "glue"\nprice = "1 EUR"\nhappened = []\n',
            r'define \[order."KEY"\]',
        ),
        ('[order.x]\nbill = [{ what = "tip", cost = "1 EUR" }]\n', '"tip" is none of "postage"'),
        ('[order.x]\nsupplier = "nobody"\n', 'there is no supplier "nobody"'),
        ('[[movement]]\npart = "glue"\nwhat = "used"\namount = "1 g"\n', "name the build"),
        ('[[movement]]\npart = "glue"\nwhat = "sold"\n', 'write such as amount = "150 g"'),
        ('[[movement]]\npart = "glue"\nwhat = "sold"\namount = "2 m"\n', "counted in g"),
        ('[[movement]]\npart = "glue"\nwhat = "eaten"\namount = "1 g"\n', "is none of"),
        ('[[offcut]]\npart = "glu"\ncut = "300 mm x 2"\n', 'there is no part "glu"'),
        ('companion_rules = "[rule"\n', "companion"),
    ],
)
def test_what_is_wrong_is_told_with_what_to_write(text: str, words: str) -> None:
    with source() as deps, pytest.raises(InputError, match=words):
        load(deps, text)
