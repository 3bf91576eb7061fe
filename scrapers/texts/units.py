"""The one table of units that goods are sold in, with exact factors.

Sources of the factors: the international yard and pound agreement of 1959
(1 in = 25.4 mm, 1 lb = 453.59237 g, both exact), NIST Handbook 44 appendix C
(US fluid ounce = 29.5735295625 ml), trade practice for cloth (1 oz/yd2 =
33.906 g/m2). A wire gauge is a size and no quantity: see `wire_mm2`.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from scrapers.errors import UnitError
from scrapers.model import Amount


class Dimension(StrEnum):
    """What a unit measures. Amounts convert within one dimension only."""

    COUNT = "count"
    LENGTH = "length"
    AREA = "area"
    MASS = "mass"
    VOLUME = "volume"
    AREAL_MASS = "areal mass"
    GAUGE = "wire gauge"


@dataclass(frozen=True, slots=True)
class Unit:
    """`factor`: how many base units one of this unit is (piece, m, m2, g, ml, g/m2)."""

    key: str
    dimension: Dimension
    factor: Decimal


BASE: Final = {
    Dimension.COUNT: "piece",
    Dimension.LENGTH: "m",
    Dimension.AREA: "m2",
    Dimension.MASS: "g",
    Dimension.VOLUME: "ml",
    Dimension.AREAL_MASS: "g/m2",
    Dimension.GAUGE: "AWG",
}

_ROWS: Final = (
    ("piece", Dimension.COUNT, "1"),
    ("pair", Dimension.COUNT, "2"),
    ("m", Dimension.LENGTH, "1"),
    ("cm", Dimension.LENGTH, "0.01"),
    ("mm", Dimension.LENGTH, "0.001"),
    ("thou", Dimension.LENGTH, "0.0000254"),
    ("in", Dimension.LENGTH, "0.0254"),
    ("ft", Dimension.LENGTH, "0.3048"),
    ("yd", Dimension.LENGTH, "0.9144"),
    ("m2", Dimension.AREA, "1"),
    ("cm2", Dimension.AREA, "0.0001"),
    ("mm2", Dimension.AREA, "0.000001"),
    ("in2", Dimension.AREA, "0.00064516"),
    ("ft2", Dimension.AREA, "0.09290304"),
    ("yd2", Dimension.AREA, "0.83612736"),
    ("g", Dimension.MASS, "1"),
    ("kg", Dimension.MASS, "1000"),
    ("oz", Dimension.MASS, "28.349523125"),
    ("lb", Dimension.MASS, "453.59237"),
    ("ml", Dimension.VOLUME, "1"),
    ("l", Dimension.VOLUME, "1000"),
    ("fl oz", Dimension.VOLUME, "29.5735295625"),
    ("g/m2", Dimension.AREAL_MASS, "1"),
    ("oz/yd2", Dimension.AREAL_MASS, "33.906"),
    ("AWG", Dimension.GAUGE, "1"),  # a size on no linear scale: see `wire_mm2`
)

UNITS: Final = {key: Unit(key, kind, Decimal(factor)) for key, kind, factor in _ROWS}

# As people and shops write them, folded to lower case and NFKC (so "m²" is "m2").
# English, German, French, Dutch, Italian, Spanish, Polish, Czech, Swedish, Danish.
_WORDS: Final = {
    "piece": (
        "piece pieces pc pcs pce pces each ea unit units item items off count ct "
        "stück stücke stueck stuck stk st stck pièce pièces piece/s unité unités stuk stuks "
        "pezzo pezzi pz pza pieza piezas ud uds unidad unidades unità sztuka sztuki sztuk szt "
        "kus kusy kusů ks styck stycken"
    ),
    "pair": (
        "pair pairs pr prs paar paare paire paires paren coppia coppie par pares para pary pár páry"
    ),
    "m": "m metre metres meter meters mtr mtrs mètre mètres metro metros metri lfm lfdm lm rm",
    "cm": "cm centimetre centimetres centimeter centimeters zentimeter centimètre centimètres",
    "mm": "mm millimetre millimetres millimeter millimeters millimètre millimètres",
    "thou": "thou thous mil mils",
    "in": "in inch inches zoll \" '' pouce pouces duim pollici pulgadas tum tommer",
    "ft": "ft foot feet ' fuß fuss pied pieds voet",
    "yd": "yd yds yard yards",
    "m2": "m2 qm sqm",
    "cm2": "cm2 qcm",
    "mm2": "mm2 qmm",
    "in2": "in2",
    "ft2": "ft2 sqft",
    "yd2": "yd2 sqyd",
    "g": "g gr gram grams gramm gramme grammes grammi gramos gm gms",
    "kg": "kg kgs kilo kilos kilogram kilograms kilogramm kilogramme kilogrammes",
    "oz": "oz ounce ounces unze unzen",
    "lb": "lb lbs pound pounds",
    "ml": "ml millilitre millilitres milliliter milliliters cc cm3",
    "l": "l ltr litre litres liter liters litro litros litri",
    "fl oz": "floz",
    "g/m2": "g/m2 gsm g/qm gr/m2",
    "oz/yd2": "oz/yd2 oz/sqyd osy",
    "AWG": "awg",
}
_SPACED: Final = {
    "fl oz": "fl oz",
    "fl. oz": "fl oz",
    "fl.oz": "fl oz",
    "fluid ounce": "fl oz",
    "fluid ounces": "fl oz",
    "sq m": "m2",
    "square metre": "m2",
    "square metres": "m2",
    "square meter": "m2",
    "square meters": "m2",
    "sq ft": "ft2",
    "sq. ft": "ft2",
    "square feet": "ft2",
    "sq yd": "yd2",
    "sq in": "in2",
    "running metre": "m",
    "running meter": "m",
    "laufender meter": "m",
    "linear metre": "m",
    "linear meter": "m",
    "g/sq m": "g/m2",
    "oz/sq yd": "oz/yd2",
}
ALIASES: Final = {word: key for key, words in _WORDS.items() for word in words.split()} | _SPACED


def unit_key(text: str) -> str | None:
    """The key of the unit that `text` (folded, no outer spaces) names, or None."""
    if text in UNITS:
        return text
    return ALIASES.get(text) or ALIASES.get(text.rstrip("."))


def find_unit(text: str) -> Unit:
    """The unit named by key or alias. UnitError lists the keys where there is none."""
    key = unit_key(text.strip().casefold())
    if key is None:
        known = ", ".join(UNITS)
        raise UnitError(f"'{text}' is no unit known here; write one of: {known}")
    return UNITS[key]


def dimension(unit: str) -> Dimension:
    """What `unit` (key or alias) measures."""
    return find_unit(unit).dimension


def _factor(unit: Unit, pair_is: int) -> Decimal:
    return Decimal(pair_is) if unit.key == "pair" else unit.factor


def to_base(amount: Amount, *, pair_is: int = 2) -> Decimal:
    """The amount in base units: piece, m, m2, g, ml or g/m2. `pair_is`: pieces in a pair."""
    return amount.value * _factor(find_unit(amount.unit), pair_is)


def convert(amount: Amount, unit: str, *, pair_is: int = 2) -> Amount:
    """The same quantity in `unit`. UnitError where that measures something else."""
    have, want = find_unit(amount.unit), find_unit(unit)
    if have.dimension is not want.dimension:
        raise UnitError(
            f"{have.key} measures {have.dimension} and {want.key} measures {want.dimension}: "
            f"give the amount in {BASE[want.dimension]}, or give the part a density, "
            "an areal mass or a size to go by"
        )
    value = amount.value * _factor(have, pair_is) / _factor(want, pair_is)
    return Amount(value, want.key, amount.size, amount.pieces)


def wire_mm2(awg: int) -> Decimal:
    """Copper cross-section in mm2 of an AWG size, by ASTM B258 (0000 is -3).

    Diameter in mm: 0.127 x 92^((36 - n)/39).
    """
    if not -3 <= awg <= 40:
        raise UnitError(f"AWG {awg} is outside 4/0 (-3) to 40")
    diameter = Decimal("0.127") * Decimal(92) ** (Decimal(36 - awg) / Decimal(39))
    area = Decimal("3.14159265358979") / 4 * diameter * diameter
    return area.quantize(Decimal("0.0001"))
