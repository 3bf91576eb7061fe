"""Tables of old shops: one row of labels, under it the one row of the page's goods."""

from __future__ import annotations

from collections.abc import Iterator

from selectolax.lexbor import LexborNode

from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze

MAX_CLIMB = 3
MAX_TABLES = 6
MAX_CELL = 60
_CELLS = ("td", "th")


def under_labels(places: Places) -> Iterator[tuple[str, str, LexborNode]]:
    """(label, value, cell) of tables near the heading that have one row under their labels."""
    at = places.heading
    for _ in range(MAX_CLIMB):
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html", "table", "tr"):
            return
        for table in at.css("table")[:MAX_TABLES]:
            yield from _pairs(table, places)


def _pairs(table: LexborNode, places: Places) -> Iterator[tuple[str, str, LexborNode]]:
    rows = [[c for c in row.iter() if c.tag in _CELLS] for row in table.css("tr")[:4]]
    rows = [row for row in rows if row]
    if len(rows) != 2 or len(rows[0]) != len(rows[1]) or len(rows[0]) < 2:
        return
    if places.of(table).zone in ("other", "hidden"):
        return
    for label, cell in zip(*rows, strict=True):
        name, value = _text(label), _text(cell)
        if name and value:
            yield name.rstrip(" #:."), value, cell


def _text(cell: LexborNode) -> str:
    text = squeeze(cell.text(separator=" ")[: 4 * MAX_CELL])
    return text if len(text) <= MAX_CELL else ""
