"""Cells of tables that people open in a spreadsheet: text stays text, numbers stay numbers.

Text that a spreadsheet program might take for a formula gets one leading apostrophe
(OWASP ASVS 5.0, 1.2.10); so does text that began with one before such a sign, so that
taking away exactly one apostrophe always gives the text back.
"""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

Cell = str | int | Decimal | None

# Blanks and marks that are not seen (BOM, zero width, no-break) may stand before the sign.
_UNSEEN: Final = r"[\s\x00\u00a0\u00ad\u180e\u200b-\u200f\u2028-\u202f\u2060-\u2064\ufeff]"
_SIGNS: Final = r"=+\-@\uff1d\uff0b\uff0d\uff20"
_TRIGGER: Final = re.compile(rf"'*{_UNSEEN}*[\t\r\n\x00{_SIGNS}]")
_XLITERAL: Final = re.compile(r"_x([0-9A-Fa-f]{4})_")
_XUNSAFE: Final = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff\ud800-\udfff]")


def is_trigger(text: str) -> bool:
    """Whether a spreadsheet program might read more than text into `text`."""
    return _TRIGGER.match(text) is not None


def guarded(text: str) -> str:
    """`text` with one apostrophe before it where it needs one."""
    return f"'{text}" if is_trigger(text) else text


def unguarded(text: str) -> str:
    """What `guarded` was given: exactly the one apostrophe that it adds is taken away."""
    return text[1:] if text.startswith("'") and is_trigger(text[1:]) else text


def cell_text(cell: Cell) -> str:
    """A cell as CSV text: numbers plain, text guarded, nothing as an empty cell."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return guarded(cell)
    return f"{cell:f}" if isinstance(cell, Decimal) else str(cell)


def write_csv(rows: Iterable[Sequence[Cell]]) -> str:
    """RFC 4180: every text field quoted, CRLF at row ends, numbers bare."""
    out = io.StringIO()
    for row in rows:
        out.write(",".join(_field(cell) for cell in row) + "\r\n")
    return out.getvalue()


def _field(cell: Cell) -> str:
    text = cell_text(cell)
    if cell is None or not isinstance(cell, str):
        return text
    return '"' + text.replace('"', '""') + '"'


def read_csv(text: str, delimiter: str = ",") -> Iterator[list[str]]:
    """Rows of text as `write_csv` made them, the added apostrophe taken away."""
    for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
        yield [unguarded(cell) for cell in row]


def xstring(text: str) -> str:
    """For an XLSX cell: what XML cannot hold as `_xHHHH_` (ECMA-376 part 1, 22.9.2.19)."""
    literal = _XLITERAL.sub(r"_x005F\g<0>", text)
    return _XUNSAFE.sub(lambda found: f"_x{ord(found[0]):04X}_", literal)


def from_xstring(text: str) -> str:
    """What `xstring` was given."""
    return _XLITERAL.sub(lambda found: chr(int(found[1], 16)), text)
