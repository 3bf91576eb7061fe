"""Pictures: a breakdown as SVG by our own hand, and charts and SVG drawn in a child process.

The drawing library holds the interpreter for as long as it draws, so it runs in a child
(this module run as a program) that is ended when it takes too long.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from html import escape
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from service.errors import InputError
from service.exchange.figures import Row, Sheet
from service.exchange.markup import one_line
from service.exchange.texts import LABELS, MORE_ROWS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

TIMEOUT: Final = 30.0  # seconds
MAX_SOURCE: Final = 8 * 1024 * 1024
MAX_ROWS: Final = 80
SCALE: Final = 1.5
_WIDTH: Final = 1280
_MARGIN, _ROW = 48, 30
_INK, _SOFT, _SHEET, _PAPER, _HAIR = "#1d2b33", "#5d6b72", "#fdfcf9", "#f6f4ee", "#dfe2de"


def table_svg(sheet: Sheet) -> str:
    """The breakdown as a drawing sheet 1280 wide: title, day, table, total, remarks."""
    columns = [column for column in sheet.columns if column != "remark"]
    rows = _shown(sheet)
    places = _places(columns, sheet)
    parts = [_text(_MARGIN, 78, sheet.title, size=30, bold=True)]
    parts.append(_text(_MARGIN, 110, sheet.day, fill=_SOFT))
    y = 156
    parts += [_cell(places[c], y, LABELS[c], c in sheet.costs, fill=_SOFT) for c in columns]
    for row in rows:
        y += _ROW
        parts.append(_rule(y - 20, strong=row.kind == "total"))
        for column in columns:
            bold = row.kind != "line"
            text = _fit(one_line(row.cells.get(column)), column, columns)
            parts.append(_cell(places[column], y, text, column in sheet.costs, bold=bold))
    for said in _wrapped(sheet.remarks):
        y += 24
        parts.append(_text(_MARGIN, y + 14, said, size=14, fill=_SOFT))
    return _frame(parts, y + 60)


def _wrapped(remarks: Sequence[str]) -> list[str]:
    """The remarks in lines that fit the sheet, at most four lines each."""
    wrapped = (wrap(one_line(one), 150, max_lines=4, placeholder=" \u2026") for one in remarks)
    return [line for lines in wrapped for line in lines]


def _shown(sheet: Sheet) -> list[Row]:
    """All rows where they fit in a picture; else the sums alone and how many lines they hold."""
    if len(sheet.rows) <= MAX_ROWS:
        return list(sheet.rows)
    sums = [row for row in sheet.rows if row.kind != "line"][-MAX_ROWS:]
    hidden = sum(row.kind == "line" for row in sheet.rows)
    return [Row("line", {"part": MORE_ROWS.format(count=hidden)}), *sums]


def _places(columns: list[str], sheet: Sheet) -> dict[str, float]:
    """Where each column begins (text) or ends (figures): figures share the right half."""
    texts = [column for column in columns if column not in sheet.costs]
    costs = [column for column in columns if column in sheet.costs]
    width = min(190.0, 620.0 / max(1, len(costs)))
    right = _WIDTH - _MARGIN - 8
    places = {c: right - width * (len(costs) - 1 - n) for n, c in enumerate(costs)}
    left = right - width * len(costs)
    steps = {"part": 0.0, "amount": 0.55, "supplier": 0.75}
    return places | {c: _MARGIN + 8 + (left - _MARGIN) * steps.get(c, 0.9) for c in texts}


def _fit(text: str, column: str, columns: list[str]) -> str:
    most = {"part": 40 if "supplier" in columns else 46, "amount": 16, "supplier": 18}
    limit = most.get(column, 22)
    return text if len(text) <= limit else text[: limit - 1] + "\u2026"


def _cell(x: float, y: float, text: str, right: bool, **style: Any) -> str:
    return _text(x, y, text, anchor="end" if right else "start", **style)


def _text(
    x: float,
    y: float,
    text: str,
    *,
    size: int = 16,
    bold: bool = False,
    fill: str = _INK,
    anchor: str = "start",
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{fill}" '
        f'text-anchor="{anchor}"{weight}>{escape(text)}</text>'
    )


def _rule(y: float, *, strong: bool) -> str:
    stroke = f'stroke="{_INK}" stroke-width="2"' if strong else f'stroke="{_HAIR}"'
    return f'<line x1="{_MARGIN}" x2="{_WIDTH - _MARGIN}" y1="{y}" y2="{y}" {stroke}/>'


def _frame(parts: list[str], height: float) -> str:
    inner = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{height:.0f}" '
        f'font-family="Barlow Semi Condensed, Liberation Sans, sans-serif">\n'
        f'<rect width="100%" height="100%" fill="{_PAPER}"/>\n'
        f'<rect x="20" y="20" width="{_WIDTH - 40}" height="{height - 40:.0f}" fill="{_SHEET}" '
        f'stroke="{_INK}" stroke-width="1.5"/>\n{inner}\n</svg>\n'
    )


def table_png(sheet: Sheet) -> bytes:
    """The same as a PNG, 1920 wide."""
    return svg_png(table_svg(sheet), scale=SCALE)


def svg_png(svg: str, *, scale: float = 1.0) -> bytes:
    """PNG of an SVG text. InputError where it cannot be drawn in time."""
    return draw({"make": "svg_png", "source": svg, "scale": scale})


def chart_png(spec: Mapping[str, Any], *, scale: float = 1.0) -> bytes:
    """PNG of a Vega-Lite specification; it may load nothing. InputError as above."""
    return draw({"make": "chart_png", "source": spec, "scale": scale})


def chart_svg(spec: Mapping[str, Any]) -> str:
    """SVG of a Vega-Lite specification; it may load nothing. InputError as above."""
    return draw({"make": "chart_svg", "source": spec}).decode()


def draw(job: Mapping[str, Any], *, timeout: float = TIMEOUT) -> bytes:
    """Have the child draw. InputError: too big, too slow, or not drawable."""
    data = json.dumps(job).encode()
    if len(data) > MAX_SOURCE:
        raise InputError("the picture would be too large; show fewer lines or a shorter time")
    root = str(Path(__file__).parents[2])
    env = {"PATH": os.environ.get("PATH", ""), "PYTHONPATH": root, "PYTHONUTF8": "1"}
    command = [sys.executable, "-m", "service.exchange.picture"]
    try:
        done = subprocess.run(  # noqa: S603  our own interpreter and module
            command, input=data, capture_output=True, timeout=timeout, env=env, check=False
        )
    except subprocess.TimeoutExpired:
        raise InputError("the picture took too long to draw; write CSV or HTML instead") from None
    if done.returncode != 0 or not done.stdout:
        said = done.stderr.decode(errors="replace").splitlines()
        why = next(
            (one.strip()[:200] for one in reversed(said) if "rror" in one), "no reason given"
        )
        raise InputError(f"the picture could not be drawn ({why}); write CSV or HTML instead")
    return done.stdout


def main() -> None:
    """Child: a job as JSON on standard input, the picture on standard output."""
    import vl_convert  # noqa: PLC0415  heavy, the child's alone

    job = json.loads(sys.stdin.buffer.read())
    source, scale = job["source"], job.get("scale", 1.0)
    if job["make"] == "svg_png":
        made = vl_convert.svg_to_png(source, scale=scale)
    elif job["make"] == "chart_png":
        made = vl_convert.vegalite_to_png(source, scale=scale, allowed_base_urls=[])
    else:
        made = vl_convert.vegalite_to_svg(source, allowed_base_urls=[]).encode()
    sys.stdout.buffer.write(made)


if __name__ == "__main__":
    main()
