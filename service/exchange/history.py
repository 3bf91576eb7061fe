"""Past prices in and out: CSV row by row without heavy libraries, Parquet through pandas.

Columns `listing,at,price,currency,availability` and optionally `list_price,tax,note`.
`at` is an ISO 8601 time with its zone, or a day, which counts as its noon in UTC: the
same day wherever the reader lives, and the price on it by the day's last instant.
"""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime, time
from decimal import Decimal
from functools import lru_cache
from sys import intern
from typing import TYPE_CHECKING, Any, Final, TypeVar

from scrapers import Availability, Tax
from service.errors import InputError
from service.exchange.cells import unguarded, write_csv
from service.exchange.files import decode, read_bytes, write_bytes
from service.model.money import money_text, parse_currency
from service.model.prices import Observation, Offer, Spell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

NEEDED: Final = ("listing", "at", "price", "currency", "availability")
OPTIONAL: Final = ("list_price", "tax", "note")
_MONEY: Final = frozenset({"price", "list_price"})
_OFFER: Final = ("price", "currency", "availability", "list_price", "tax")
MAX_BYTES: Final = 256 * 1024 * 1024
MAX_SHOWN: Final = 50
_PRICE: Final = re.compile(r"\d{1,12}(?:\.\d{1,4})?", re.ASCII)
_SPELLS: Final = (
    "listing", "first_seen", "last_seen", "price", "currency", "list_price", "availability",
    "tax", "polls",
)  # fmt: skip

Row = tuple[str, Observation]
A = TypeVar("A")
T = TypeVar("T")


def read_history(path: Path) -> list[Row]:
    """`(listing name, observation)` a row, from CSV or `.parquet`; `listing` 0, origin `import`.

    InputError carries every wrong row (the first 50 in words) with its number in the file.
    """
    if path.suffix.lower() in (".parquet", ".pq"):
        from service.exchange import parquet  # noqa: PLC0415  pandas only where it is needed

        header, rows = parquet.read_table(path)
        _check_header(header, str(path))
        return _collect(rows, str(path))
    text = decode(read_bytes(path, MAX_BYTES, "split it into several files"), str(path))
    return read_history_text(text, str(path))


def read_history_text(text: str, name: str = "history") -> list[Row]:
    """The same from CSV text."""
    return _collect(_csv_rows(text, name), name)


def _csv_rows(text: str, name: str) -> Iterator[tuple[int, Mapping[str, str]]]:
    first = text.partition("\n")[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        header = [column.strip().lower() for column in next(reader, [])]
        _check_header(header, name)
        for row in reader:
            if any(row):
                yield reader.line_num, _cells(header, row)
    except csv.Error as error:
        raise InputError(f"{name}: row {reader.line_num}: {error}; correct the quotes") from None


def _check_header(header: Sequence[str], name: str) -> None:
    problems = [
        f'{name}: there is no column "{column}"; the first row names the columns '
        f"{','.join(NEEDED)}[,{','.join(OPTIONAL)}]"
        for column in NEEDED
        if column not in header
    ]
    known = (*NEEDED, *OPTIONAL)
    problems += [
        f'{name}: unknown column "{column}"; known are {", ".join(known)}'
        for column in header
        if column not in known
    ]
    if len(set(header)) < len(header):
        problems.append(f"{name}: a column stands twice; keep one of them")
    if problems:
        raise InputError(problems)


def _cells(header: Sequence[str], row: Sequence[str]) -> dict[str, str]:
    if len(row) > len(header):
        return {"": f"has {len(row)} cells under {len(header)} columns; correct its separators"}
    return {column: unguarded(cell).strip() for column, cell in zip(header, row, strict=False)}


def _collect(rows: Iterable[tuple[int, Mapping[str, str]]], name: str) -> list[Row]:
    found: list[Row] = []
    problems: list[str] = []
    for number, cells in rows:
        try:
            found.append(_row(cells))
        except InputError as error:
            problems += [f"{name}: row {number}: {what}" for what in error.problems]
    if problems:
        more = len(problems) - MAX_SHOWN
        tail = [f"{name}: and {more} more problems like these"] if more > 0 else []
        raise InputError(problems[:MAX_SHOWN] + tail)
    return found


def _row(cells: Mapping[str, str]) -> Row:
    if wrong := cells.get(""):
        raise InputError(wrong)
    problems: list[str] = []
    listing = intern(cells.get("listing", ""))
    if not listing:
        problems.append("listing is empty; write its URL or supplier/part")
    at = _try(moment, cells.get("at", ""), problems)
    offer = _try(_offer, tuple(cells.get(name, "") for name in _OFFER), problems)
    if problems or at is None or offer is None:
        raise InputError(problems)
    return listing, Observation(0, at, offer, origin="import")


@lru_cache(maxsize=65536)
def _offer(texts: tuple[str, ...]) -> Offer:
    """The offer of the cells `_OFFER`; equal ones are one object, for files of a million rows."""
    problems: list[str] = []
    price = _try(_price, texts[0], problems)
    currency = _try(parse_currency, texts[1], problems)
    availability = _try(_availability, texts[2], problems)
    list_price = _try(_list_price, texts[3], problems) if texts[3] else None
    tax = _try(_tax, texts[4], problems)
    if problems or price is None or currency is None or availability is None or tax is None:
        raise InputError(problems)
    return Offer(price, currency, list_price, availability, tax)


def _try(read: Callable[[A], T], text: A, problems: list[str]) -> T | None:
    try:
        return read(text)
    except InputError as error:
        problems.extend(error.problems)
        return None


def moment(text: str) -> datetime:
    """ISO 8601 with a zone, or a day (its noon in UTC). InputError says what to write."""
    try:
        if len(text) <= len("2026-11-24"):
            return datetime.combine(date.fromisoformat(text), time(12), tzinfo=UTC)
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f'at: "{text}" is not a time; write it like 2026-11-24T18:00:00Z or 2026-11-24'
        ) from None
    if found.tzinfo is None:
        raise InputError(f'at: "{text}" does not say its zone; add Z for UTC or such as +01:00')
    return found.astimezone(UTC)


def _price(text: str, column: str = "price") -> Decimal:
    if not _PRICE.fullmatch(text) or not (value := Decimal(text)):
        raise InputError(
            f'{column}: "{text}" is not a price; write a number above 0 with a decimal point, '
            "at most four decimals"
        )
    return value


def _list_price(text: str) -> Decimal:
    return _price(text, "list_price")


def _availability(text: str) -> Availability:
    try:
        return Availability(text.lower()) if text else Availability.UNKNOWN
    except ValueError:
        known = ", ".join(Availability)
        raise InputError(
            f'availability: "{text}" is unknown; leave it empty or write one of {known}'
        ) from None


def _tax(text: str) -> Tax:
    try:
        return Tax(text.lower()) if text else Tax.UNKNOWN
    except ValueError:
        raise InputError(
            f'tax: "{text}" is unknown; write included or excluded, or leave it empty'
        ) from None


def write_history(path: Path, rows: Iterable[Row]) -> None:
    """CSV, or Parquet by the file's name; `read_history` reads it back equal."""
    if path.suffix.lower() in (".parquet", ".pq"):
        from service.exchange import parquet  # noqa: PLC0415  pandas only where it is needed

        columns = (*NEEDED, "list_price", "tax")
        parquet.write_table(path, columns, [_record(row) for row in rows], _MONEY)
    else:
        write_bytes(path, history_csv(rows).encode("utf-8"))


def history_csv(rows: Iterable[Row]) -> str:
    """CSV text of the columns listing,at,price,currency,availability,list_price,tax."""
    columns = (*NEEDED, "list_price", "tax")
    return write_csv([columns, *(tuple(_record(row).values()) for row in rows)])


def spell_rows(spells: Iterable[Spell], names: Mapping[int, str]) -> Iterator[Row]:
    """A log as readings: each spell's first and last sight. `names`: listing id to its key."""
    for spell in spells:
        times = (spell.first_seen, spell.last_seen)
        for at in times[: 1 if times[0] == times[1] else 2]:
            yield names[spell.listing], Observation(0, at, spell.offer, origin="import")


def spells_csv(spells: Iterable[Mapping[str, Any]]) -> str:
    """The spells of `ebbmark history` (its JSON objects) as CSV; money stays a bare number."""
    rows = ([_bare(name, spell.get(name)) for name in _SPELLS] for spell in spells)
    return write_csv([_SPELLS, *rows])


def _bare(name: str, value: Any) -> str | int | Decimal | None:
    if name in ("price", "list_price") and value is not None:
        return Decimal(value)
    return value if value is None or isinstance(value, int) else str(value)


def _record(row: Row) -> dict[str, str | Decimal | None]:
    name, seen = row
    offer = seen.offer
    listed = None if offer.list_price is None else money_text(offer.list_price, offer.currency)
    return {
        "listing": name,
        "at": seen.at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        "price": Decimal(money_text(offer.price, offer.currency)),
        "currency": offer.currency,
        "availability": "" if offer.availability is Availability.UNKNOWN else offer.availability,
        "list_price": None if listed is None else Decimal(listed),
        "tax": "" if offer.tax is Tax.UNKNOWN else offer.tax,
    }
