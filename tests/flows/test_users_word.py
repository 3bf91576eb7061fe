"""What the user says of a reading that was kept aside counts, and is not asked for twice.

The words: docs/glossary.md, "doubtful" and "evidence". Common practice: a decision once taken
is not taken back by the machine.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from decimal import Decimal

import pytest
from book_kit import CELLS, MOTOR, kit
from shop_page import product_page

from scrapers import Outcome
from service.errors import InputError
from service.flows import ask, doubts
from service.flows.check import check
from service.flows.poll import poll_these
from service.model.prices import Offer

JUMP = product_page("3.50")
OTHER = product_page("35.00", title="Sheet of stickers", sku="ST-9")


@pytest.fixture
def book(tmp_path):
    with kit(tmp_path) as made:
        made.fetcher.pages = {MOTOR: product_page("35.00"), CELLS: product_page("40.00", sku="B")}
        poll(made)
        yield made


def poll(book, page=None):
    book.clock.pass_(hours=6)
    if page is not None:
        book.fetcher.pages[MOTOR] = page
    lines = []
    ids = book.ids()
    asyncio.run(poll_these(book.deps, [ids[MOTOR], ids[CELLS]], on_line=lines.append))
    return next(line for line in lines if line.listing == MOTOR)


def test_a_deal_shows_the_words_of_the_reading_that_was_accepted(book):
    assert poll(book, JUMP).outcome is Outcome.DOUBTFUL
    doubts.accept(book.deps, MOTOR)
    [deal] = [d for d in ask.deals(book.deps, only_open=True) if d["subject"] == "motor"]
    assert deal["price"] == "3.50"
    assert "3.50" in {item["value"] for item in deal["evidence"] if item["field"] == "price"}
    assert "35.00" not in {item["value"] for item in deal["evidence"]}


def test_a_page_that_was_accepted_under_a_new_name_keeps_it(book):
    assert poll(book, OTHER).outcome is Outcome.DOUBTFUL
    doubts.accept(book.deps, MOTOR)
    assert poll(book, OTHER.replace(b"35.00", b"34.50")).outcome is Outcome.OK


def test_the_tax_note_of_an_accepted_reading_is_kept(book):
    poll(book, JUMP)
    with book.deps.store.write() as unit:
        [doubt] = unit.log.doubts()
        unit.log.keep_doubt(replace(doubt, reading={**doubt.reading, "tax": "excluded"}))
    offer = doubts.accept(book.deps, MOTOR)
    assert isinstance(offer, Offer)
    assert offer.tax.value == "excluded"


def test_what_was_rejected_is_neither_asked_again_nor_believed_by_itself(book):
    poll(book, JUMP)
    doubts.reject(book.deps, MOTOR)
    for _ in range(6):  # readings that agree would settle a doubt that nobody decided
        assert poll(book).outcome is Outcome.DOUBTFUL
    with book.deps.store.read() as unit:
        assert unit.log.doubts() == []
        assert unit.log.as_of(book.clock())[book.ids()[MOTOR]].offer.price == Decimal("35.00")


def test_check_says_what_to_do_after_a_rejection(book):
    poll(book, JUMP)
    [kept] = [p for p in check(book.deps) if p["what"] == MOTOR]
    assert f'ebbmark accept "{MOTOR}"' in kept["do"]
    doubts.reject(book.deps, MOTOR)
    [said] = [p for p in check(book.deps) if p["what"] == MOTOR]
    assert "you rejected" in said["problem"]
    poll(book)
    assert [p["problem"] for p in check(book.deps) if p["what"] == MOTOR] == [said["problem"]]


def test_a_rejection_may_be_taken_back(book):
    poll(book, JUMP)
    doubts.reject(book.deps, MOTOR)
    poll(book)
    assert doubts.accept(book.deps, MOTOR).price == Decimal("3.50")
    assert poll(book).outcome is Outcome.UNCHANGED
    with pytest.raises(InputError, match="no reading is kept aside"):
        doubts.accept(book.deps, MOTOR)


def test_another_price_is_a_new_question_and_a_good_one_ends_the_matter(book):
    poll(book, JUMP)
    doubts.reject(book.deps, MOTOR)
    poll(book, product_page("2.90"))
    with book.deps.store.read() as unit:
        assert [d.reading["price"] for d in unit.log.doubts()] == ["2.90"]
    assert poll(book, product_page("35.00")).outcome is Outcome.OK
    assert [p for p in check(book.deps) if p["what"] == MOTOR] == []
