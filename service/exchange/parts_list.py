"""A builder's own parts list (CSV or XLSX) as lines of a build, shown before it is kept."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from scrapers import Amount, Dimension, UnitError, dimension, format_amount, parse_amount
from service.errors import InputError
from service.exchange import sheet
from service.exchange.catalogue import values as v
from service.exchange.catalogue.builds import counts
from service.exchange.catalogue.measure import mismatch
from service.exchange.cells import unguarded
from service.exchange.columns import Header, find_header, spelled
from service.exchange.files import decode, read_bytes
from service.model.book import Book
from service.model.builds import Build, Counts, Line
from service.model.catalogue import Listing, Part, Supply, listing_key

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

_UNIT: Final = {
    Dimension.COUNT: "piece",
    Dimension.LENGTH: "m",
    Dimension.AREA: "m2",
    Dimension.MASS: "g",
    Dimension.VOLUME: "ml",
    Dimension.AREAL_MASS: "m2",
}
_SUMS: Final = re.compile(
    r"(?:sub)?total|sum|summe|gesamt\w*|zwischensumme|insgesamt", re.IGNORECASE
)
_BARE: Final = re.compile(r"[+-]?[\d.,'\s/]*\d")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}(?: \d{2}:\d{2}:\d{2})?")


@dataclass(frozen=True, slots=True)
class PartsRow:
    """One row as understood. `row` counts from 1 in the file; `new`: no such part yet.

    A row with `problems` cannot be kept; `hints` say what was left out or taken as what.
    """

    row: int
    name: str
    part: str
    amount: Amount | None
    group: str
    counts: Counts
    note: str = ""
    new: bool = False
    listing: Listing | None = None
    problems: tuple[str, ...] = ()
    hints: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PartsList:
    """What a file holds, for the user to look at; `unused`: columns that were not understood."""

    name: str
    rows: tuple[PartsRow, ...]
    columns: Mapping[str, str]
    unused: tuple[str, ...]

    @property
    def problems(self) -> list[str]:
        """`FILE: row N: what is wrong; what to do`, all of them."""
        return [f"{self.name}: row {row.row}: {p}" for row in self.rows for p in row.problems]

    def as_json(self) -> dict[str, Any]:
        """The preview as JSON: rows with amount as text, problems and hints."""
        return {
            "file": self.name,
            "columns": dict(self.columns),
            "unused": list(self.unused),
            "rows": [_row_json(row) for row in self.rows],
            "problems": self.problems,
        }


def read_parts_list(path: Path, known: Book) -> PartsList:
    """The preview of a file; nothing is written. InputError where it cannot be read at all."""
    data = read_bytes(path, sheet.MAX_BYTES, "keep only the parts list in it")
    return parse_parts_list(data, path.name, known)


def parse_parts_list(data: bytes, name: str, known: Book) -> PartsList:
    """The same from bytes, as uploaded. `name` with `.xlsx` or bytes of a zip: a spreadsheet."""
    is_sheet = data.startswith((b"PK", b"\xd0\xcf")) or name.lower().endswith((".xlsx", ".xls"))
    rows = sheet.sheet_rows(data, name) if is_sheet else csv_rows(data, name)
    header = find_header(rows, name)
    top = rows[header.row]
    columns = {kind: top[place].strip() for kind, place in header.columns.items()}
    found = tuple(_Reader(header, known).rows(rows))
    if not found:
        raise InputError(f"{name}: holds no row below its header; write one row a part")
    unused = (*header.unused, *([columns["price"]] if "price" in columns else []))
    return PartsList(name, found, columns, unused)


def csv_rows(data: bytes, name: str) -> list[list[str]]:
    """CSV with comma, semicolon or tab; within the caps of a parts list."""
    if len(data) > sheet.MAX_BYTES:
        raise InputError(f"{name}: is larger than 5 MiB; keep only the parts list in it")
    text = decode(data, name)
    start = "\n".join(text.splitlines()[:20])
    delimiter = max(";\t,", key=start.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        for row in reader:
            rows.append([unguarded(cell) for cell in row])
            if len(rows) > sheet.MAX_ROWS + 1:
                break
        return sheet.within_caps(rows)
    except csv.Error as error:
        wrong = f"{name}: row {reader.line_num}: {error}; correct the quotes or shorten the cell"
        raise InputError(wrong) from None
    except InputError as error:
        raise InputError(f"{name}: {error.problems[0]}") from None


class _Reader:
    """Goes down the rows; remembers the group heading and the parts named so far."""

    def __init__(self, header: Header, known: Book) -> None:
        self.header, self.group = header, "other"
        self.suppliers = {_fold(s.name): s.key for s in known.suppliers}
        self.suppliers |= {_fold(s.key): s.key for s in known.suppliers}
        self.parts = {part.key: part for part in known.parts}
        self.by_name = {_fold(part.name): part for part in known.parts}
        self.new: set[str] = set()

    def rows(self, rows: Sequence[Sequence[str]]) -> Iterator[PartsRow]:
        for number, row in enumerate(rows[self.header.row + 1 :], self.header.row + 2):
            cells = {
                kind: row[place].strip() if place < len(row) else ""
                for kind, place in self.header.columns.items()
            }
            name = cells.get("part") or cells.get("key", "")
            if not any(cells.values()) or (_SUMS.fullmatch(name) and not cells["amount"]):
                continue
            if name and not any(
                cell for kind, cell in cells.items() if kind not in ("part", "key")
            ):
                self.group = name[:40]  # a heading over the rows that follow
                continue
            yield self._row(number, name, cells)

    def _row(self, number: int, name: str, cells: Mapping[str, str]) -> PartsRow:
        problems: list[str] = []
        amount = _caught(lambda: amount_of(cells, self.header.unit), problems)
        counted = _caught(lambda: counts(cells.get("counts", "").lower() or "share"), problems)
        if not name:
            problems.append("does not name its part; write what it is")
        part = self._part(name, cells.get("key", ""), amount)
        if amount is not None and (wrong := mismatch(part, amount)):
            problems.append(wrong)
        listing, hints = self._listing(part, cells)
        return PartsRow(
            row=number,
            name=part.name,
            part=part.key,
            amount=amount,
            group=cells.get("group", "")[:40] or self.group,
            counts=counted or Counts(),
            note=cells.get("note", "")[:2000],
            new=part.key in self.new,
            listing=listing,
            problems=tuple(problems),
            hints=tuple(hints),
        )

    def _part(self, name: str, key: str, amount: Amount | None) -> Part:
        """The part of that key or name, else a new one counted in the unit of its amount."""
        known = self.parts.get(key) or self.parts.get(name) or self.by_name.get(_fold(name))
        if known is not None:
            return known
        unit = _UNIT[dimension(amount.unit)] if amount else "piece"
        part = Part(_free_key(name or "part", self.parts), name[:300], unit)
        self.parts[part.key] = self.by_name[_fold(name)] = part
        self.new.add(part.key)
        return part

    def _listing(self, part: Part, cells: Mapping[str, str]) -> tuple[Listing | None, list[str]]:
        shop, url = cells.get("supplier", ""), cells.get("url", "")
        if not shop and not url:
            return None, []
        supplier = self.suppliers.get(_fold(shop))
        if supplier is None:
            what = f'supplier "{shop}" is not in the book' if shop else "the link names no supplier"
            return None, [f"{what}; the page is left out, add it later"]
        problems: list[str] = []
        link = _caught(lambda: v.url(url), problems) if url else None
        sold_as = _caught(lambda: parse_amount(cells.get("sold_as") or f"1 {part.unit}"), problems)
        if problems or sold_as is None:
            return None, [f"{problems[0]}; the page is left out"]
        if wrong := mismatch(part, sold_as):
            return None, [f"{wrong}; the page is left out"]
        key = listing_key(supplier, part.key, link, None)
        return Listing(key, supplier, (Supply(part.key, sold_as),), link), []


def amount_of(cells: Mapping[str, str], column_unit: str | None) -> Amount:
    """The amount cell with its own unit, else the unit column's, else the header's, else pieces."""
    text = cells["amount"]
    if not text:
        raise InputError('has no amount; write such as "1 piece" or "0.5 m"')
    if _DAY.fullmatch(text):
        raise InputError(f'amount "{text}" became a date in the spreadsheet; format it as text')
    if _BARE.fullmatch(text):
        text = f"{text} {cells.get('unit') or column_unit or 'piece'}"
    try:
        return parse_amount(text)
    except UnitError as error:
        raise InputError(str(error)) from None


def to_book(found: PartsList, build: Build, known: Book) -> Book:
    """What to save: the new parts, their pages, and `build` with these lines added.

    InputError with every problem of the list where it has any.
    """
    if found.problems:
        raise InputError(found.problems)
    present = {one.key for one in known.listings}
    fresh = {row.part: row for row in reversed(found.rows) if row.new}
    listings = {row.listing.key: row.listing for row in found.rows if row.listing}
    lines = tuple(
        Line(row.amount, row.group, row.part, counts=row.counts, note=row.note)
        for row in found.rows
        if row.amount is not None
    )
    return Book(
        parts=tuple(_new_part(fresh[key]) for key in sorted(fresh)),
        listings=tuple(listings[key] for key in sorted(listings) if key not in present),
        builds=(replace(build, lines=(*build.lines, *lines)),),
    )


def into_build(found: PartsList, key: str, known: Book, currency: str) -> Book:
    """`to_book` for the build of that key, which is made (in `currency`) where there is none."""
    build = next((one for one in known.builds if one.key == key), None)
    return to_book(found, build or Build(v.key(key), key, currency), known)


def _new_part(row: PartsRow) -> Part:
    unit = _UNIT[dimension(row.amount.unit)] if row.amount else "piece"
    return Part(row.part, row.name, unit)


def _caught(read: Any, problems: list[str]) -> Any:
    try:
        return read()
    except (InputError, UnitError) as error:
        problems.append(str(error))
        return None


def _row_json(row: PartsRow) -> dict[str, Any]:
    return {
        "row": row.row,
        "part": row.part,
        "name": row.name,
        "amount": None if row.amount is None else format_amount(row.amount),
        "group": row.group,
        "counts": str(row.counts),
        "note": row.note or None,
        "new": row.new,
        "listing": row.listing.key if row.listing else None,
        "problems": list(row.problems),
        "hints": list(row.hints),
    }


def _fold(text: str) -> str:
    return " ".join(text.casefold().split())


def _free_key(name: str, taken: Mapping[str, Part]) -> str:
    """A catalogue key from a name: ASCII letters, digits and hyphens, numbered where taken."""
    plain = unicodedata.normalize("NFKD", spelled(name)).encode("ascii", "ignore").decode()
    key = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "part"
    number = 2
    free = key
    while free in taken:
        free, number = f"{key}-{number}", number + 1
    return free
