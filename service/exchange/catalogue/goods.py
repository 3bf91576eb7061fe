"""What only parts have: densities, masses by area, and numbers under a bar code."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from scrapers import Dimension, dimension, to_base
from service.errors import InputError
from service.exchange.catalogue.numbers import NUMBER, positive, shown
from service.exchange.catalogue.values import amount


def density(raw: Any) -> Decimal:
    """g/ml: a number above 0, or `"1.13 g/ml"` (also g/cm3, kg/l)."""
    text = raw.strip() if isinstance(raw, str) else raw
    if isinstance(text, str):
        text = re.sub(r"\s*(?:g/ml|g/cm3|g/cm³|kg/l)$", "", text)
    return positive(text)


def mix(raw: Any) -> tuple[Decimal, ...]:
    """Parts by mass of two components: `"100:42"` -> (100, 42)."""
    sides = raw.split(":") if isinstance(raw, str) else []
    if len(sides) != 2:
        raise InputError(
            f'{shown(raw)} is not a ratio by mass; write resin and hardener such as "100:42"'
        )
    return tuple(positive(side.strip()) for side in sides)


def areal_mass(raw: Any) -> Decimal:
    """g/m2: a number above 0, or `"160 g/m2"`, `"4.7 oz/yd2"`."""
    if not isinstance(raw, str) or NUMBER.fullmatch(raw.strip()):
        return positive(raw)
    found = amount(raw)
    if dimension(found.unit) is not Dimension.AREAL_MASS:
        raise InputError(f'{shown(raw)} is not a mass by area; write such as "160 g/m2"')
    return to_base(found)


def is_gtin(text: str) -> bool:
    """GTIN-8, -12, -13 or -14 with its check digit (GS1 General Specifications 7.9)."""
    if not (text.isascii() and text.isdigit() and len(text) in (8, 12, 13, 14)):
        return False
    digits = [int(sign) for sign in reversed(text)]
    return (sum(digits[::2]) + 3 * sum(digits[1::2])) % 10 == 0
