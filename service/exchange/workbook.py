"""A breakdown as XLSX: numbers typed, text forced to text, no formula anywhere."""

from __future__ import annotations

import io
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from service.exchange.cells import Cell, is_trigger, xstring
from service.exchange.texts import LABELS

if TYPE_CHECKING:
    from service.exchange.figures import Sheet

_WIDTHS: Final = {"part": 36, "listing": 40, "remark": 50, "group": 16, "supplier": 18}
_MONEY: Final = frozenset(
    {"price", "share", "to_spend", "paid", "delivered", "usual", "from_nothing"}
)


def xlsx(sheet: Sheet) -> bytes:
    """One sheet: the day, a header row, the lines, the total; the remarks below."""
    book = Workbook()
    page = book.active
    page.title = "Costs"
    _put(page.cell(1, 1), sheet.title).font = Font(bold=True, size=14)
    _put(page.cell(2, 1), sheet.day)
    for place, column in enumerate(sheet.columns, 1):
        _put(page.cell(4, place), LABELS[column]).font = Font(bold=True)
        page.column_dimensions[get_column_letter(place)].width = _WIDTHS.get(column, 13)
    for number, row in enumerate(sheet.rows, 5):
        for place, column in enumerate(sheet.columns, 1):
            cell = _put(page.cell(number, place), row.cells.get(column), money=column in _MONEY)
            if row.kind == "total":
                cell.font = Font(bold=True)
    for number, remark in enumerate(sheet.remarks, len(sheet.rows) + 6):
        _put(page.cell(number, 1), remark)
    page.freeze_panes = "A5"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _put(cell: Any, value: Cell, *, money: bool = False) -> Any:
    """A typed cell. Text that looks like a formula is marked as text, as by a typed apostrophe."""
    if isinstance(value, str):
        cell.value = xstring(value)
        cell.data_type = "s"
        cell.quotePrefix = is_trigger(value)
    elif value is not None:
        cell.value = value
        if money and isinstance(value, Decimal):
            decimals = max(0, -int(value.as_tuple().exponent))
            cell.number_format = f"0.{'0' * decimals}" if decimals else "0"
    return cell
