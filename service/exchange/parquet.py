"""Tables as Parquet, through pandas and pyarrow: text and exact decimals only."""

from __future__ import annotations

import io
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any, Final

from service.errors import InputError
from service.exchange.files import write_bytes

MAX_ROWS: Final = 5_000_000
MAX_COLUMNS: Final = 64

TextRow = tuple[int, Mapping[str, str]]


def read_table(path: Path) -> tuple[list[str], Iterator[TextRow]]:
    """Column names in lower case, and rows as text, numbered as in a CSV file with a header."""
    pandas, arrow, parquet = _libraries(path)
    try:
        found = parquet.read_metadata(path)
        if found.num_rows > MAX_ROWS or found.num_columns > MAX_COLUMNS:
            raise InputError(f"{path}: has more than {MAX_ROWS} rows or 64 columns; split it")
        frame = pandas.read_parquet(path, engine="pyarrow")
    except (OSError, arrow.ArrowException) as error:
        raise InputError(f"{path}: cannot be read as Parquet ({error}); export it again") from None
    header = [str(column).strip().lower() for column in frame.columns]
    return header, _rows(header, frame)


def _rows(header: Sequence[str], frame: Any) -> Iterator[TextRow]:
    for number, record in enumerate(frame.itertuples(index=False, name=None), 2):
        yield number, {key: _text(cell) for key, cell in zip(header, record, strict=True)}


def write_table(
    path: Path, columns: Sequence[str], records: Sequence[Mapping[str, Any]], money: Collection[str]
) -> None:
    """`money` columns as decimal128 with four decimals, all others as text."""
    pandas, arrow, _ = _libraries(path)
    frame = pandas.DataFrame(records, columns=columns)
    exact = arrow.decimal128(18, 4)
    kinds = [(name, exact if name in money else arrow.string()) for name in columns]
    out = io.BytesIO()
    frame.to_parquet(out, engine="pyarrow", index=False, schema=arrow.schema(kinds))
    write_bytes(path, out.getvalue())


def _text(cell: Any) -> str:
    """A value as the text that CSV would hold; a time without zone stays without."""
    if cell is None or cell != cell:  # noqa: PLR0124  missing is the one value unequal to itself
        return ""
    if isinstance(cell, datetime):
        return cell.isoformat()
    if isinstance(cell, (Decimal, float)):
        return _number_text(cell)
    return str(cell).strip()


def _number_text(cell: Decimal | float) -> str:
    """Shortest form of a decimal, and of a float that another program wrote."""
    try:
        text = f"{Decimal(str(cell)):f}"
    except InvalidOperation:
        return str(cell)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _libraries(path: Path) -> tuple[Any, Any, Any]:
    """Pandas, pyarrow and its Parquet part, loaded only here."""
    try:
        import pandas as pd  # noqa: PLC0415  costs 60 MiB and half a second
        import pyarrow as pa  # noqa: PLC0415  the same
        from pyarrow import parquet  # noqa: PLC0415  the same
    except ImportError:
        raise InputError(
            f'{path}: Parquet needs the extra "parquet" (pip install "ebbmark[parquet]"); '
            "or use CSV"
        ) from None
    return pd, pa, parquet
