"""A build's cost as something to hand on: table, spreadsheet, forum post, page, picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from service.errors import InputError
from service.exchange.cells import Cell, write_csv
from service.exchange.figures import Answer, Options, for_machines, for_people
from service.exchange.files import write_bytes

__all__ = ["Options", "csv_text", "render", "write_breakdown"]


def csv_text(answer: Answer, options: Options) -> str:
    """RFC 4180 in UTF-8, columns named as in the JSON; text inert in spreadsheets, numbers bare."""
    sheet = for_machines(answer, options)
    rows: list[list[Cell]] = [list(sheet.columns)]
    rows += [[row.cells.get(column) for column in sheet.columns] for row in sheet.rows]
    return write_csv(rows)


def _forms() -> Mapping[str, Callable[[Answer, Options], bytes]]:
    from service.exchange import markup, picture, workbook  # noqa: PLC0415  start-up time

    return {
        "csv": lambda answer, options: csv_text(answer, options).encode("utf-8", "replace"),
        "xlsx": lambda answer, options: workbook.xlsx(for_machines(answer, options)),
        "md": lambda answer, options: markup.markdown(for_people(answer, options)).encode(),
        "bbcode": lambda answer, options: markup.bbcode(for_people(answer, options)).encode(),
        "html": lambda answer, options: markup.html_page(for_people(answer, options)).encode(),
        "svg": lambda answer, options: picture.table_svg(for_people(answer, options)).encode(),
        "png": lambda answer, options: picture.table_png(for_people(answer, options)),
    }


def render(answer: Answer, form: str, options: Options | None = None) -> bytes:
    """The breakdown in one of the forms csv, xlsx, md, bbcode, html, svg, png."""
    forms = _forms()
    if form not in forms:
        raise InputError(f'no form "{form}"; choose from {", ".join(forms)}')
    return forms[form](answer, options or Options())


def write_breakdown(answer: Answer, form: str, path: Path, options: Options | None = None) -> None:
    """Render and write to a file. InputError where it cannot be written or drawn."""
    write_bytes(path, render(answer, form, options))
