"""Writing a book and reading it back; what goes to a friend and what does not."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from exchange_books import books
from hypothesis import HealthCheck, given, settings

from service.errors import NotFoundError
from service.exchange.catalogue import book_from_document, dump_book, parse_toml, read_book

if TYPE_CHECKING:
    from service.model.book import Book

EXAMPLE = Path(__file__).parents[2] / "config" / "example.toml"


def loaded(text: str) -> Book:
    return book_from_document(parse_toml(text, "dump"), "dump")


@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(books())
def test_what_is_written_is_read_back_equal(book: Book) -> None:
    text = dump_book(book)
    again = loaded(text)
    assert again == book
    assert dump_book(again) == text
    assert repr(loaded(text)) == repr(loaded(dump_book(again)))  # the same to the letter


def test_the_example_is_written_and_read_back_equal() -> None:
    book = read_book([EXAMPLE])
    assert repr(loaded(dump_book(book))) == repr(book)


def test_one_build_comes_with_its_base_parts_and_shops() -> None:
    book = loaded(dump_book(read_book([EXAMPLE]), build="curlew-light"))
    assert [build.key for build in book.builds] == ["curlew", "curlew-light"]
    assert {"motor-3542", "battery-4s-old"} <= {part.key for part in book.parts}
    assert [supplier.key for supplier in book.suppliers] == ["quillfeather", "tarnside"]


def test_the_public_form_tells_parts_and_amounts_alone() -> None:
    text = dump_book(read_book([EXAMPLE]), public=True, build="curlew")
    for secret in ("quillfeather.example", "tarnside", "EUR/", "GBP", "420.00", "only the long"):
        assert secret not in text
    book = loaded(text)
    assert (book.suppliers, book.listings, book.purchases, book.targets) == ((), (), (), ())
    original = read_book([EXAMPLE]).builds[0]
    assert [line.amount for line in book.builds[0].lines] == [
        line.amount for line in original.lines
    ]
    assert book.builds[0].lines[1].need == {"KV": "900..1100", "shaft_mm": "5"}


def test_an_unknown_build_names_the_nearest() -> None:
    with pytest.raises(NotFoundError, match='there is no build "curlev"; did you mean "curlew"'):
        dump_book(read_book([EXAMPLE]), build="curlev")
