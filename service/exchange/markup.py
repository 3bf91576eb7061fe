"""A breakdown as Markdown, BBCode and HTML. Text stays text in each of them."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING, Final

from service.exchange.texts import LABELS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from service.exchange.cells import Cell
    from service.exchange.figures import Row, Sheet

_MARKDOWN: Final = re.compile(r"([\\`*_\[\]<>|~#&!$])")
_UNFIT: Final = re.compile(r"[\s\x00-\x1f\x7f\ud800-\udfff\ufffe\uffff]+")
_STYLE: Final = (
    "body{font:16px/1.4 system-ui,sans-serif;color:#1d2b33;background:#fdfcf9;margin:2rem}"
    "table{border-collapse:collapse}th,td{padding:.2rem .7rem;border-bottom:1px solid #dfe2de;"
    "text-align:left}.n{text-align:right;font-variant-numeric:tabular-nums}"
    ".sum{font-style:italic}.total{font-weight:bold;border-top:2px solid #1d2b33}"
)


def one_line(cell: Cell) -> str:
    """Without line breaks, which would end a row, and without what no document may hold."""
    return _UNFIT.sub(" ", "" if cell is None else str(cell)).strip()


def markdown_text(cell: Cell) -> str:
    """Inert in a Markdown table cell (GitHub Flavored Markdown 0.29, sections 2.4 and 4.10)."""
    return _MARKDOWN.sub(r"\\\1", one_line(cell))


def bbcode_text(cell: Cell) -> str:
    """Forums differ in how a bracket is escaped, so brackets become round ones."""
    return one_line(cell).replace("[", "(").replace("]", ")")


def html_text(cell: Cell) -> str:
    """Inert in element content and quoted attributes."""
    return escape(one_line(cell), quote=True)


def markdown(sheet: Sheet) -> str:
    """A heading, a pipe table with figures to the right, the remarks as a list."""
    marks = ["---:" if column in sheet.costs else "---" for column in sheet.columns]
    head = [LABELS[column] for column in sheet.columns]
    lines = [f"**{markdown_text(sheet.title)}**", "", markdown_text(sheet.day), ""]
    lines += [_pipe(head), _pipe(marks)]
    lines += [_pipe(_marked(row, sheet, markdown_text, "**{}**")) for row in sheet.rows]
    lines += ["", *(f"- {markdown_text(remark)}" for remark in sheet.remarks)]
    return "\n".join(lines) + "\n"


def _pipe(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _marked(row: Row, sheet: Sheet, text: Callable[[Cell], str], bold: str) -> list[str]:
    """The row's cells, sums and totals in bold."""
    cells = [text(row.cells.get(column)) for column in sheet.columns]
    return cells if row.kind == "line" else [cell and bold.format(cell) for cell in cells]


def bbcode(sheet: Sheet) -> str:
    """A table for forums that know [table]."""
    head = "".join(f"[td][b]{LABELS[column]}[/b][/td]" for column in sheet.columns)
    lines = [f"[b]{bbcode_text(sheet.title)}[/b]", bbcode_text(sheet.day), "[table]"]
    lines.append(f"[tr]{head}[/tr]")
    for row in sheet.rows:
        cells = _marked(row, sheet, bbcode_text, "[b]{}[/b]")
        lines.append(f"[tr]{''.join(f'[td]{cell}[/td]' for cell in cells)}[/tr]")
    lines += ["[/table]", *(bbcode_text(remark) for remark in sheet.remarks)]
    return "\n".join(lines) + "\n"


def html_table(sheet: Sheet) -> str:
    """A section with table and remarks, to stand in a page; no style and no script."""
    head = "".join(f"<th{_cls(column, sheet)}>{LABELS[column]}</th>" for column in sheet.columns)
    body = "\n".join(_html_row(row, sheet) for row in sheet.rows)
    remarks = "".join(f"<li>{html_text(remark)}</li>" for remark in sheet.remarks)
    return (
        f"<section>\n<h1>{html_text(sheet.title)}</h1>\n<p>{html_text(sheet.day)}</p>\n"
        f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>\n"
        f"<ul>{remarks}</ul>\n</section>\n"
    )


def _html_row(row: Row, sheet: Sheet) -> str:
    cells = "".join(
        f"<td{_cls(column, sheet)}>{html_text(row.cells.get(column))}</td>"
        for column in sheet.columns
    )
    return f'<tr class="{row.kind}">{cells}</tr>'


def _cls(column: str, sheet: Sheet) -> str:
    return ' class="n"' if column in sheet.costs else ""


def html_page(sheet: Sheet) -> str:
    """A whole page that loads nothing and runs nothing."""
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{html_text(sheet.title)}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n{html_table(sheet)}</body>\n</html>\n"
    )
