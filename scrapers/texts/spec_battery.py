"""Batteries in titles: cells, capacity, voltage, C rating, energy, plug, checked together.

Nominal cell voltages (common practice): lithium polymer 3.7 V, high-voltage 3.8 V (4.35 V
full), lithium iron phosphate 3.2 or 3.3 V, lithium ion 3.6 or 3.7 V, nickel metal hydride 1.2 V.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final

from scrapers.texts.quantities import plain

_CHEMISTRY: Final = (
    ("LiHV", r"li-?\s?hv|lipo-?\s?hv|hv-?\s?lipo|high[- ]voltage|hochvolt|4[.,]35\s?v"),
    ("LiFe", r"li-?fe(?:po4?)?|a123"),
    ("LiIon", r"li-?\s?ion\b"),
    ("NiMH", r"ni-?mh"),
    ("LiPo", r"li-?\s?po(?:ly)?\b|lithium[- ]pol[iy]m[eè]re?|lipos?\b"),
)
_NOMINAL: Final = {
    "LiPo": ("3.7",),
    "LiHV": ("3.8", "3.85"),
    "LiFe": ("3.3", "3.2"),
    "LiIon": ("3.6", "3.7"),
    "NiMH": ("1.2",),
}
_FULL: Final = ("4.2", "4.35")
_CELLS: Final = re.compile(
    r"(?<![\w.-])(\d{1,2})\s?s(?:\s?-?\s?(\d)\s?p)?(?!\w)"
    r"|(?<![\w.])(\d{1,2})[- ]?(?:cells?\b|zell\w+|éléments|cellen)"
)
_CAPACITY: Final = re.compile(r"(?<![\w.,])(\d{1,3}[.,]\d{3}|\d+(?:[.,]\d+)?)\s?(m?ah)(?!\w)")
_VOLTAGE: Final = re.compile(r"(?<![\w.,/-])(\d{1,2}(?:[.,]\d{1,2})?)\s?v(?:olts?)?(?![\w/])")
_RATING: Final = re.compile(r"(?<![\w.,°])(\d{1,3})\s?c?\s?(?:[/-]\s?(\d{2,3})\s?)?c(?!\w|\s?temp)")
_ENERGY: Final = re.compile(r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s?wh(?!\w)")
_PLUG: Final = re.compile(
    r"(?<!\w)(xt-?(?:30|60|90|120|150)|ec-?[2358]|ic-?[235]|as-?150|"
    r"qs-?8|deans|t-?plug|t-?stecker|tamiya|mpx)(?![a-z0-9])"
)
_PLUG_NAME: Final = {"deans": "T plug", "tplug": "T plug", "tstecker": "T plug", "tamiya": "Tamiya"}
_WH_SHARE: Final = Decimal("0.02")


def number(text: str) -> Decimal:
    return Decimal(text.replace(",", "."))


def _capacity(folded: str) -> str | None:
    found = _CAPACITY.search(folded)
    if found is None:
        return None
    text, unit = found.groups()
    if unit == "mah":
        grouped = re.fullmatch(r"\d{1,3}[.,]\d{3}", text)
        return plain(Decimal(re.sub(r"[.,]", "", text)) if grouped else number(text))
    return plain(number(text) * 1000)


def _chemistry(folded: str) -> str | None:
    return next((name for name, words in _CHEMISTRY if re.search(words, folded)), None)


def _from_voltage(volts: Decimal, chemistry: str | None) -> tuple[str, str] | None:
    """Cells and chemistry that a nominal voltage names, where one only does."""
    kinds = ("LiPo", "LiHV") if chemistry in {None, "LiPo"} else (str(chemistry),)
    for kind in kinds:
        for nominal in _NOMINAL[kind]:
            cells = volts / Decimal(nominal)
            if cells == cells.to_integral_value() and 1 <= cells <= 14:
                return plain(cells), kind
    return None


def _volts_agree(cells: int, volts: Decimal, chemistry: str | None) -> bool:
    kinds = ["LiPo", "LiHV"] if chemistry in {None, "LiPo"} else [str(chemistry)]
    each = [nominal for kind in kinds for nominal in _NOMINAL[kind]]
    # "14,8" is also printed "15" and "14,80": half of the last printed place is allowed
    return any(abs(cells * Decimal(one) - volts) <= Decimal("0.05") for one in (*each, *_FULL))


def check_battery(spec: dict[str, str]) -> list[str]:
    """What does not fit together: cells against volts, energy against volts x capacity."""
    conflicts: list[str] = []
    chemistry = spec.get("chemistry")
    nominal = Decimal(_NOMINAL[chemistry or "LiPo"][0])
    volts = Decimal(spec["voltage"]) if "voltage" in spec else None
    if "cells" in spec and volts is not None:
        cells = int(spec["cells"])
        if not _volts_agree(cells, volts, chemistry):
            want = plain(cells * nominal)
            conflicts.append(f"{cells} cells x {nominal} V = {want} V, but {volts} V is printed")
    if volts is None and "cells" in spec:
        volts = int(spec["cells"]) * nominal
    if volts is not None and "wh" in spec and "capacity_mAh" in spec:
        energy = volts * Decimal(spec["capacity_mAh"]) / 1000
        if abs(Decimal(spec["wh"]) - energy) > energy * _WH_SHARE:
            conflicts.append(
                f"{volts} V x {spec['capacity_mAh']} mAh = {plain(energy)} Wh, "
                f"but {spec['wh']} Wh is printed"
            )
    return conflicts


def _cells(folded: str, spec: dict[str, str]) -> None:
    found = _CELLS.search(folded)
    if found:
        spec["cells"] = found[1] or found[3]
        if found[2] and found[2] != "1":
            spec["parallel"] = found[2]


def _voltage(folded: str, spec: dict[str, str]) -> None:
    """The nominal voltage; a full-charge one beside it ("14.8 V, max 16.8 V") stays out."""
    volts = [number(found) for found in _VOLTAGE.findall(folded) if number(found) > 1]
    if not volts:
        return
    cells, chemistry = spec.get("cells"), spec.get("chemistry")
    fitting = [volt for volt in volts if cells and _volts_agree(int(cells), volt, chemistry)]
    volt = (fitting or volts)[0]
    spec["voltage"] = plain(volt)
    told = _from_voltage(volt, chemistry)
    if told is None:
        return
    if cells is None:
        spec["cells"] = told[0]
    if spec["cells"] == told[0] and chemistry in {None, "LiPo"} and told[1] == "LiHV":
        spec["chemistry"] = "LiHV"


def _plug(folded: str, spec: dict[str, str]) -> None:
    found = _PLUG.search(folded)
    if found:
        word = found[1].replace("-", "")
        spec["plug"] = _PLUG_NAME.get(word, word.upper())


def read_battery(folded: str) -> tuple[dict[str, str], list[str]]:
    """Specification of a battery from a folded text, and what in it does not agree."""
    spec: dict[str, str] = {}
    chemistry = _chemistry(folded)
    if chemistry:
        spec["chemistry"] = chemistry
    _cells(folded, spec)
    capacity = _capacity(folded)
    if capacity:
        spec["capacity_mAh"] = capacity
    _voltage(folded, spec)
    rating = _RATING.search(folded)
    if rating and 1 <= int(rating[1]) <= 300:
        spec["c_rating"] = rating[1]
        if rating[2]:
            spec["c_burst"] = rating[2]
    energy = _ENERGY.search(folded)
    if energy:
        spec["wh"] = plain(number(energy[1]))
    _plug(folded, spec)
    return spec, check_battery(spec)
