"""What a title says of a part's specification: suggestions to confirm, never silently used."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from scrapers.texts.quantities import fold, plain
from scrapers.texts.soldas import read_sold_as
from scrapers.texts.spec_battery import check_battery, number, read_battery
from scrapers.texts.spec_motor import read_controller, read_motor
from scrapers.texts.units import UNITS

if TYPE_CHECKING:
    from collections.abc import Callable

MAX_TEXT: Final = 4_000


@dataclass(frozen=True, slots=True)
class Spec:
    """`values`: catalogue keys to canonical decimals or names. `conflicts`: what does not agree.

    `family`: battery, motor, controller, servo, cloth, sheet, wire, propeller, or None.
    """

    values: dict[str, str] = field(default_factory=dict)
    conflicts: tuple[str, ...] = ()
    family: str | None = None


_FAMILIES: Final = (
    (
        "battery",
        r"\d\s?m?ah\b|\blipo\b.*\b\d{1,2}s\b|\b\d{1,2}s\d?p?\b.*\blipo\b|\bakku\b|batter(?:y|ie)\b",
    ),
    (
        "controller",
        r"\besc\b|speed controller|regler\b|\bcontroller\b|variateur|\bregelaar\b|\bregulator\b",
    ),
    (
        "motor",
        r"\bkv\s?[:=-]?\s?\d|\d\s?kv\b|rpm\s?/\s?v|u/min/v|motor\b|moteur|(?:in|out)-?runner|brushless",
    ),
    ("servo", r"\bservos?\b|kg[ .·*-]?cm"),
    ("propeller", r"\bprop(?:eller)?s?\b|luftschraube|hélice|\bschroef\b"),
    ("wire", r"\bawg\b|silicone wire|silikonkabel|litze"),
    ("cloth", r"g/m2|gsm\b|g/qm|oz/yd2|cloth|fabric|gewebe|tissu|weefsel|roving|biax|twill|köper"),
    (
        "sheet",
        r"sheet|ply\b|plywood|sperrholz|balsa|platte|plaque|plaat|brett|board|depron|foam|acryl|abs\b",
    ),
)
_AREAL: Final = re.compile(
    r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s?(g/m2|gsm|g/qm|gr/m2|g/sq ?m|oz/(?:yd2|sq ?yd))"
)
_OZ_CLOTH: Final = re.compile(r"(?<![\w.,])(\d{1,2}(?:[.,]\d+)?)\s?oz(?!\w|/)")
_MM: Final = re.compile(
    r"(?<![\w.,x\u00d7*/])(?<!x )(\d{1,2}(?:[.,]\d{1,2})?)\s?mm(?!\s?[x\u00d7*]|\w)"
)
_AWG: Final = re.compile(r"(?<![\w.])(\d{1,2})\s?-?awg\b|\bawg\s?-?(\d{1,2})\b")
_PROP: Final = re.compile(
    r"(?<![\w.,])(\d{1,2}(?:[.,]\d{1,2})?)\s?[x\u00d7*/]\s?(\d{1,2}(?:[.,]\d{1,2})?)(?![\d.,]*\s?mm)"
)
_TORQUE: Final = re.compile(r"(?<![\w.,])(\d{1,3}(?:[.,]\d{1,2})?)\s?kg[ .·*/-]?cm")
_SPLINE: Final = re.compile(r"(?<![\w.])(\d{2})\s?t(?:eeth|ooth)?(?!\w)")
_THREAD: Final = re.compile(r"(?<!\w)(m(?:1[.,]\d|2[.,]5|[23456810]{1,2}))(?![\w.])")

_Read = tuple[dict[str, str], list[str]]


def _areal(folded: str, spec: dict[str, str], *, is_cloth: bool) -> None:
    found = _AREAL.search(folded)
    ounces = _OZ_CLOTH.search(folded) if is_cloth and found is None else None
    if found and not found[2].startswith("oz"):
        spec["areal_mass_g_m2"] = plain(number(found[1]))
    elif found or ounces:
        value = number((found or ounces or [""])[1])
        grams = (value * UNITS["oz/yd2"].factor).quantize(Decimal("0.1"))
        spec["areal_mass_g_m2"] = plain(grams)


def _cloth(folded: str) -> _Read:
    spec: dict[str, str] = {}
    _areal(folded, spec, is_cloth=True)
    _size(folded, spec)
    return spec, []


def _size(folded: str, spec: dict[str, str]) -> None:
    sold = read_sold_as(folded)
    if sold is None or sold.amount is None or sold.amount.size is None:
        return
    spec["size_mm"] = "x".join(plain(edge) for edge in sold.amount.size)
    if sold.thickness is not None:
        spec["thickness_mm"] = plain(sold.thickness)


def _sheet(folded: str) -> _Read:
    spec: dict[str, str] = {}
    _size(folded, spec)
    alone = _MM.findall(folded)
    if "thickness_mm" not in spec and len(alone) == 1:
        spec["thickness_mm"] = plain(number(alone[0]))
    return spec, []


def _servo(folded: str) -> _Read:
    spec: dict[str, str] = {}
    torque, spline = _TORQUE.search(folded), _SPLINE.search(folded)
    if torque:
        spec["torque_kg_cm"] = plain(number(torque[1]))
    if spline:
        spec["spline"] = f"{spline[1]}T"
    return spec, []


def _wire(folded: str) -> _Read:
    found = _AWG.search(folded)
    return ({"awg": found[1] or found[2]} if found else {}), []


def _propeller(folded: str) -> _Read:
    found = _PROP.search(folded)
    if found is None:
        return {}, []
    return {"prop": f"{plain(number(found[1]))}x{plain(number(found[2]))}"}, []


_READERS: Final[dict[str, Callable[[str], _Read]]] = {
    "battery": read_battery,
    "motor": read_motor,
    "controller": read_controller,
    "servo": _servo,
    "cloth": _cloth,
    "sheet": _sheet,
    "wire": _wire,
    "propeller": _propeller,
}


def _family(folded: str) -> str | None:
    return next((name for name, words in _FAMILIES if re.search(words, folded)), None)


def read_spec(title: str, text: str = "") -> Spec:
    """The specification that a product's title (and text, for what the title leaves out) gives.

    Values are strings: whole or decimal numbers with a point, sizes as `36x50`.
    """
    folded = fold(title[:MAX_TEXT])
    more = fold(text[:MAX_TEXT])
    family = _family(folded) or _family(more)
    if family is None:
        thread = _THREAD.search(folded)
        return Spec({"thread": thread[1].upper()} if thread else {})
    values, conflicts = _READERS[family](folded)
    if family == "controller" and (motor := read_motor(folded)[0]).get("kv"):
        values, family = motor | values, "motor"  # sold together
    if more:
        values = _READERS[family](more)[0] | values
        if family == "battery":
            conflicts = check_battery(values)
    return Spec(values, tuple(conflicts), family)
