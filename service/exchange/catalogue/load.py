"""Catalogue files to a book: read every file, follow every reference, tell every problem."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from service.errors import InputError
from service.exchange.catalogue import diary
from service.exchange.catalogue import values as v
from service.exchange.catalogue.builds import read_build
from service.exchange.catalogue.canonical import canonical
from service.exchange.catalogue.draft import Draft, Found
from service.exchange.catalogue.links import link
from service.exchange.catalogue.parts import read_listings, read_part, read_set
from service.exchange.catalogue.shops import read_supplier
from service.exchange.catalogue.table import Problems, Table
from service.exchange.catalogue.wishes import read_purchase, read_target
from service.model.book import Book

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

MAX_BYTES: Final = 5 * 1024 * 1024
_PLACE: Final = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)


def read_book(files: Sequence[Path], known: Book | None = None) -> Book:
    """The book that `files` say together; references may lead into `known`.

    Only what the files hold comes back, sorted by key. InputError carries every
    problem of every file as `FILE: KEY PATH: what is wrong; what to do`; items
    of lists are numbered from 1.
    """
    problems, draft = Problems(), Draft()
    for file in files:
        try:
            document = parse_toml(_text(file), str(file))
        except InputError as error:
            problems.found.extend(error.problems)
            continue
        _read_document(Table(document, str(file), "", problems), draft)
    return _linked(draft, known, problems)


def book_from_document(
    document: Mapping[str, Any], name: str = "catalogue", known: Book | None = None
) -> Book:
    """Like `read_book`, from a document that is already parsed (numbers as text or int)."""
    problems, draft = Problems(), Draft()
    _read_document(Table(document, name, "", problems), draft)
    return _linked(draft, known, problems)


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """TOML with exact decimals. InputError names line and column."""
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise InputError(_syntax(error, text, name)) from None
    except (ValueError, ArithmeticError):
        raise InputError(f"{name}: holds a number that is too long; shorten it") from None
    except RecursionError:
        raise InputError(f"{name}: is nested too deeply; use plain tables and lists") from None


def _syntax(error: tomllib.TOMLDecodeError, text: str, name: str) -> str:
    found = _PLACE.fullmatch(str(error))
    what = found[1] if found else str(error)
    lines = text.split("\n")
    line = int(found[2]) if found and found[2] else len(lines)
    column = int(found[3]) if found and found[3] else len(lines[-1]) + 1
    return f"{name}: line {line}, column {column}: {what}; correct the TOML there"


def _text(file: Path) -> str:
    try:
        with file.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except OSError as error:
        reason = error.strerror or "cannot be opened"
        raise InputError(f"{file}: {reason}; check the name and its permissions") from None
    if len(data) > MAX_BYTES:
        raise InputError(f"{file}: is larger than 5 MiB; split it into several files")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(f"{file}: line {line}: is not UTF-8 text; save it as UTF-8") from None


def _read_document(top: Table, draft: Draft) -> None:
    for key, table in _keyed(top, "supplier"):
        draft.suppliers.append(Found(read_supplier(key, table), table.where))
    for key, table in _keyed(top, "part"):
        draft.listings.extend(read_listings(key, table))
        if set(table.data) == {"listing"}:
            draft.mentioned.append(Found(key, table.where))
        else:
            draft.parts.append(Found(read_part(key, table), table.where))
    draft.listings.extend(read_set(table) for table in top.tables("set"))
    for key, table in _keyed(top, "build"):
        if rules := table.each("dismissed", diary.dismissed):
            draft.dismissed.append(Found((key, rules), table.where))
        draft.builds.append(Found(read_build(key, table), table.where))
    for table in top.tables("target"):
        draft.targets.append(Found(read_target(table), table.where))
    _read_diary(top, draft)
    top.done()


def _read_diary(top: Table, draft: Draft) -> None:
    for key, table in _keyed(top, "order", diary.order_key):
        draft.orders.append(Found(diary.read_order(key, table), table.where))
    for table in top.tables("purchase"):
        draft.purchases.append(Found(read_purchase(table), table.where))
    for table in top.tables("movement"):
        draft.movements.append(Found(diary.read_movement(table), table.where))
    for table in top.tables("offcut"):
        draft.offcuts.append(Found(diary.read_offcut(table), table.where))
    if rules_text := top.maybe("companion_rules", diary.companion_rules):
        draft.companion_rules.append(rules_text)


def _keyed(top: Table, kind: str, read: v.Read[str] = v.key) -> list[tuple[str, Table]]:
    found = []
    for key, table in top.named(kind):
        try:
            found.append((read(key), table))
        except InputError as error:
            top.problem(error.problems[0], kind)
    return found


def _linked(draft: Draft, known: Book | None, problems: Problems) -> Book:
    book = link(draft, known or Book(), problems)
    problems.raise_if_any()
    return canonical(book)
