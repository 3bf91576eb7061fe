"""Motors and their controllers in titles: KV, can or stator size, amps, cells.

The same four digits mean two things (common practice): of an inrunner "3650" is a can
of 36 mm diameter and 50 mm length; of a multirotor motor "2205" is a stator of 22 x 5 mm.
"""

from __future__ import annotations

import re
from typing import Final

from scrapers.texts.quantities import plain
from scrapers.texts.spec_battery import number

_KV: Final = re.compile(
    r"(?<![a-z])kv\s?[:=-]?\s?(\d{1,2}[.,]\d{3}|\d{2,5})(?![\d.,]*\s?(?:mah|w\b|v\b))"
    r"|(?<![\w.,])(\d{1,2}[.,]\d{3}|\d{2,5})\s?(?:-\s?)?(?:kv(?![a-z0-9]|\s?[:=]?\s?(?:\d{3,5}|\d[.,]\d{3})(?!\s?(?:mah|mm)))|(?:rpm|u/min|upm|u)\s?(?:/|per|pro)\s?v(?:olt)?\b|rpm/v)"
)
_SIZE: Final = re.compile(
    r"(?<![\w.,/-])(?:[a-z]{1,3}-?)?(\d\d)(\d\d(?:[.,]5)?)(?![\d.,]|\s?(?:mah|kv|rpm|w\b|mm|g\b|v\b|u/))(?:/(\d{1,2}t?))?"
)
_IN: Final = re.compile(
    r"in-?runner|innenläufer|sensored|sensorless|marine|water-?cooled|wassergekühlt|boat|boot|1[/:](?:8|10|12|14|5)\b|truck|buggy|\bcar\b"
)
_MULTI: Final = re.compile(
    r"multi-?rotor|multi-?copter|quad|copter|fpv|drone|drohne|racing motor|cinewhoop"
)
_OUT: Final = re.compile(r"out-?runner|außenläufer|aussenläufer")
_AMPS: Final = re.compile(r"(?<![\w.,/])(\d{1,3})\s?a(?:mps?|mpere)?(?![\w])")
_CELLS: Final = re.compile(
    r"(?<![\w.])(\d{1,2})\s?s?\s?(?:-|to|bis|\u2013)\s?(\d{1,2})\s?s(?!\w)|(?<![\w.-])(\d{1,2})\s?s(?!\w)"
)
_BEC: Final = re.compile(
    r"(?:s?bec|uBEC)\D{0,6}(\d{1,2}(?:[.,]\d)?)\s?v(?:\D{0,3}(\d{1,2}(?:[.,]\d)?)\s?a)?"
)
SHORTEST_CAN: Final = 26  # mm; a motor can is longer, a multirotor stator never so high
HIGHEST_STATOR: Final = 15  # mm


def _kv(folded: str, spec: dict[str, str]) -> None:
    found = _KV.search(folded)
    if found:
        spec["kv"] = re.sub(r"[.,]", "", found[1] or found[2])


def _meaning(folded: str, height: int) -> str | None:
    """`can` or `stator`, by the family named, else by what is possible at all."""
    if _MULTI.search(folded):
        return "stator"
    if _IN.search(folded) and not _OUT.search(folded):
        return "can"
    if height <= HIGHEST_STATOR:
        return "stator"
    return "can" if height >= SHORTEST_CAN else None


def _size(folded: str, spec: dict[str, str]) -> list[str]:
    rest = _KV.sub(" ", folded)
    found = next((hit for hit in _SIZE.finditer(rest) if 10 <= int(hit[1]) <= 90), None)
    if found is None:
        return []
    height = number(found[2])
    if height < 3:
        return []
    meaning = _meaning(folded, int(height))
    if meaning is None:
        return [f"{found[1]}{found[2]} may be the can or the stator size: say which"]
    spec[meaning] = f"{found[1]}x{plain(height)}"
    if found[3]:
        spec["turns"] = found[3].rstrip("t")
    return []


def read_motor(folded: str) -> tuple[dict[str, str], list[str]]:
    """KV and size of a motor: `can` or `stator` as `36x50` (diameter x length in mm)."""
    spec: dict[str, str] = {}
    _kv(folded, spec)
    asks = _size(folded, spec)
    _cells_up_to(folded, spec)
    return spec, asks


def _cells_up_to(folded: str, spec: dict[str, str]) -> None:
    found = _CELLS.search(folded)
    if found is None:
        return
    if found[2]:
        spec["cells_min"], spec["cells_max"] = found[1], found[2]
    else:
        spec["cells_max"] = found[3]


def read_controller(folded: str) -> tuple[dict[str, str], list[str]]:
    """Continuous amps as sold, cells and BEC of a speed controller."""
    spec: dict[str, str] = {}
    bec = _BEC.search(folded)
    if bec:
        spec["bec_v"] = plain(number(bec[1]))
        if bec[2]:
            spec["bec_a"] = plain(number(bec[2]))
    amps = [hit[1] for hit in _AMPS.finditer(_BEC.sub(" ", folded)) if int(hit[1]) >= 3]
    if amps:
        spec["current_a"] = amps[0]
    _cells_up_to(folded, spec)
    return spec, []
