"""The catalogue file: TOML to a book, and a book to the same TOML."""

from service.exchange.catalogue.dump import dump_book
from service.exchange.catalogue.links import find_listing
from service.exchange.catalogue.load import book_from_document, parse_toml, read_book

__all__ = ["book_from_document", "dump_book", "find_listing", "parse_toml", "read_book"]
