"""A cost breakdown for other people: chosen columns as table, Markdown, BBCode or CSV. Pure.

Text from shops stays text: marks of each format are escaped, formulas are inert.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from service.web import show

COLUMNS: Final = {
    "part": "Part",
    "amount": "Amount",
    "share": "In this model",
    "to_spend": "To spend",
    "paid": "Paid",
    "price": "Price",
    "sold_as": "Sold as",
    "supplier": "From",
    "mass": "Mass",
}
USUAL: Final = ("part", "amount", "share", "to_spend")
RIGHT: Final = frozenset({"amount", "share", "to_spend", "paid", "price", "mass"})
_FORMULA = re.compile(r"^[\s\u00a0\ufeff\u200b\x00]*[=+\-@|\t\r\n\uff1d\uff0b\uff0d\uff20]")

Row = list[str]


def choose(columns: Sequence[str] | None) -> list[str]:
    """Known columns in their own order; the usual ones where none is named."""
    wanted = set(columns or USUAL)
    return [name for name in COLUMNS if name in wanted] or list(USUAL)


def table(sheet: Mapping[str, Any], columns: Sequence[str]) -> dict[str, Any]:
    """`{"head", "rows", "total", "note", "right"}` of plain texts."""
    rows = [[_cell(line, name) for name in columns] for line in sheet["lines"]]
    total = [_total(sheet, name) for name in columns]
    if columns and not total[0]:
        total[0] = "At least" if not sheet["totals"]["complete"] else "Whole build"
    return {
        "head": [COLUMNS[name] for name in columns],
        "rows": rows,
        "total": total,
        "note": note(sheet),
        "right": [name in RIGHT for name in columns],
    }


def _cell(line: Mapping[str, Any], name: str) -> str:
    if name == "part":
        return str(line["name"])
    if name == "amount":
        return show.amount(line["amount"], line["unit"])
    if name == "supplier":
        return str(line["supplier_name"] or "")
    if name == "mass":
        return show.amount(line["mass"], "g") if line["mass"] else ""
    if name == "price" and line["price"]:
        return show.money(line["price"], line["currency"])
    if name == "sold_as":
        return show.amount(line["sold_as"])
    return show.number(line.get(name))


def _total(sheet: Mapping[str, Any], name: str) -> str:
    value = sheet["totals"].get(name)
    if value is None:
        return ""
    return show.amount(value, "g") if name == "mass" else show.money(value, sheet["currency"])


def note(sheet: Mapping[str, Any]) -> str:
    """The day, the currency, and what is not counted."""
    text = f"Prices of {show.day(sheet['at'])} in {sheet['currency']}."
    if sheet["missing"]:
        text += f" Not counted, no price yet: {', '.join(sheet['missing'])}."
    return text


def markdown(sheet: Mapping[str, Any], columns: Sequence[str]) -> str:
    """A GitHub-flavoured table."""
    found = table(sheet, columns)
    rule = ["---:" if right else "---" for right in found["right"]]
    rows = [found["head"], rule, *found["rows"], [f"**{c}**" if c else "" for c in found["total"]]]
    lines = [
        "| " + " | ".join(row if i == 1 else [_md(c, bold=i == len(rows) - 1) for c in row]) + " |"
        for i, row in enumerate(rows)
    ]
    return "\n".join([f"### {_md(sheet['name'])}", "", *lines, "", _md(found["note"])])


def _md(text: str, *, bold: bool = False) -> str:
    inner = text[2:-2] if bold and text.startswith("**") else text
    flat = " ".join(inner.split())
    safe = re.sub(r"([\\`*_{}\[\]<>#|~&!])", r"\\\1", flat)
    safe = re.sub(r"(?i)(https?|ftp|javascript|data|www)([:.])", r"\1\\\2", safe)
    return f"**{safe}**" if bold and text.startswith("**") else safe


def bbcode(sheet: Mapping[str, Any], columns: Sequence[str]) -> str:
    """A table as forums write it."""
    found = table(sheet, columns)

    def row(cells: Sequence[str], tag: str = "td") -> str:
        return "[tr]" + "".join(f"[{tag}]{_bb(c)}[/{tag}]" for c in cells) + "[/tr]"

    body = [row(found["head"], "th"), *(row(r) for r in found["rows"]), row(found["total"], "th")]
    title = f"[b]{_bb(sheet['name'])}[/b]"
    return "\n".join([title, "[table]", *body, "[/table]", _bb(found["note"])])


def _bb(text: str) -> str:
    """A bracket of the text would open a tag: full-width ones do not."""
    return " ".join(text.split()).replace("[", "\uff3b").replace("]", "\uff3d")


def csv_text(sheet: Mapping[str, Any], columns: Sequence[str]) -> str:
    """CSV (RFC 4180) with a formula in no cell."""
    found = table(sheet, columns)
    out = io.StringIO()
    writer = csv.writer(out)
    for row in [found["head"], *found["rows"], found["total"], [found["note"]]]:
        writer.writerow([inert(cell) for cell in row])
    return out.getvalue()


def inert(text: str) -> str:
    """Text that a spreadsheet would take for a formula gets an apostrophe; numbers stay numbers."""
    plain = text.replace(show.MINUS, "-").replace(show.NARROW, "")
    if re.fullmatch(r"-?[0-9]+(?:\.[0-9]+)?", plain):
        return plain
    lines = text.split("\n")
    return "\n".join(f"'{line}" if _FORMULA.match(line) else line for line in lines)
