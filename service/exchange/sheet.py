"""XLSX to rows of text: vetted by its directory, then parsed in a child with bounds.

The child (this module run as a program) may use 10 s of CPU and 512 MiB; it reads the
first sheet in the library's read-only mode. Formulas are never evaluated: a cell's
last saved value counts.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from service.errors import InputError
from service.exchange.cells import from_xstring

if TYPE_CHECKING:
    from collections.abc import Sequence

MAX_BYTES: Final = 5 * 1024 * 1024
MAX_ROWS: Final = 20_000
MAX_COLUMNS: Final = 64
MAX_CELL: Final = 32_767
MAX_INFLATED: Final = 50 * 1024 * 1024
MAX_RATIO: Final = 100
MAX_MEMBERS: Final = 100
CPU_SECONDS: Final = 10
MEMORY: Final = 512 * 1024 * 1024
TIMEOUT: Final = 30.0
_ENCRYPTED: Final = 0x1
_OLE: Final = bytes.fromhex("d0cf11e0a1b11ae1")


def sheet_rows(data: bytes, name: str) -> list[list[str]]:
    """The first sheet's rows as text (numbers plain, days as ISO 8601). InputError: why not."""
    vet(data, name)
    command = [sys.executable, "-m", "service.exchange.sheet"]
    root = str(Path(__file__).parents[2])
    env = {"PATH": os.environ.get("PATH", ""), "PYTHONPATH": root, "PYTHONUTF8": "1"}
    try:
        done = subprocess.run(  # noqa: S603  our own interpreter and module
            command, input=data, capture_output=True, timeout=TIMEOUT, env=env, check=False
        )
    except subprocess.TimeoutExpired:
        raise InputError(f"{name}: took too long to read; save it as CSV") from None
    if done.returncode != 0:
        raise InputError(f"{name}: cannot be read as a spreadsheet; save it again, or as CSV")
    answer = json.loads(done.stdout)
    if "problem" in answer:
        raise InputError(f"{name}: {answer['problem']}")
    rows: list[list[str]] = answer["rows"]
    return rows


def vet(data: bytes, name: str) -> None:
    """Refuse by size and directory alone, before anything is inflated."""
    if len(data) > MAX_BYTES:
        raise InputError(f"{name}: is larger than 5 MiB; keep only the parts list in it")
    if data.startswith(_OLE):
        raise InputError(f"{name}: is encrypted or of an old format; save it as plain .xlsx")
    try:
        members = zipfile.ZipFile(io.BytesIO(data)).infolist()
    except (zipfile.BadZipFile, ValueError, OverflowError, NotImplementedError):
        # zipfile raises each of them for a damaged directory or one newer than it knows
        raise InputError(f"{name}: is no .xlsx file; save it as .xlsx or CSV") from None
    if problem := _refusal(members):
        raise InputError(f"{name}: {problem}")


def _refusal(members: list[zipfile.ZipInfo]) -> str | None:
    if len(members) > MAX_MEMBERS:
        return f"holds more than {MAX_MEMBERS} files; keep only the parts list in it"
    if any(member.flag_bits & _ENCRYPTED for member in members):
        return "is encrypted; save it without a password"
    if any("vbaproject" in member.filename.lower() for member in members):
        return "holds macros; save it as plain .xlsx"
    if any(_climbs(member.filename) for member in members):
        return "holds files with odd names; save it again"
    inflated = sum(member.file_size for member in members)
    packed = sum(member.compress_size for member in members)
    if inflated > MAX_INFLATED or inflated > MAX_RATIO * max(packed, 1):
        return "unpacks to far more than it should; save only the parts list, or use CSV"
    return None


def _climbs(filename: str) -> bool:
    return filename.startswith(("/", "\\")) or ".." in filename.replace("\\", "/").split("/")


def main() -> None:
    """Child: workbook on standard input, one JSON object on standard output."""
    _bound()
    sys.modules["numpy"] = None  # type: ignore[assignment]  # not needed here, costs 20 MiB
    try:
        answer: dict[str, Any] = {"rows": _parse(sys.stdin.buffer.read())}
    except InputError as error:
        answer = {"problem": error.problems[0]}
    json.dump(answer, sys.stdout)


def _bound() -> None:
    """Limits of this process, where the system has them; the parent's timeout always holds."""
    try:
        import resource  # noqa: PLC0415  the child's alone
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def _parse(data: bytes) -> list[list[str]]:
    import openpyxl  # noqa: PLC0415  heavy, the child's alone

    book = openpyxl.load_workbook(
        io.BytesIO(data), read_only=True, data_only=True, keep_links=False
    )
    sheet = book.worksheets[0] if book.worksheets else None
    if sheet is None:
        raise InputError("holds no sheet with cells; put the parts list on the first one")
    sheet.reset_dimensions()
    rows = sheet.iter_rows(values_only=True, max_row=MAX_ROWS + 1)
    return within_caps([_row(row) for row in rows])


def _row(cells: Sequence[Any]) -> list[str]:
    """At most one column over the cap, so that a wide row is seen and costs little."""
    extra = next((cell for cell in cells[MAX_COLUMNS:] if cell is not None), None)
    return [_text(cell) for cell in (*cells[:MAX_COLUMNS], extra)]


def within_caps(rows: list[list[str]]) -> list[list[str]]:
    """The rows without empty ends; InputError where there are too many of anything."""
    while rows and not any(rows[-1]):
        rows.pop()
    if len(rows) > MAX_ROWS:
        raise InputError(f"has more than {MAX_ROWS} rows; split it")
    if any(any(row[MAX_COLUMNS:]) for row in rows):
        raise InputError(f"has more than {MAX_COLUMNS} columns; keep only those that are needed")
    if any(len(cell) > MAX_CELL for row in rows for cell in row):
        raise InputError(f"has a cell of more than {MAX_CELL} characters; shorten it")
    return rows


def _text(cell: Any) -> str:
    """As the spreadsheet shows it: whole numbers without a point, 15 digits otherwise."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return f"{cell:.0f}" if cell.is_integer() and abs(cell) < 1e15 else f"{cell:.15g}"
    return from_xstring(str(cell))


if __name__ == "__main__":
    main()
