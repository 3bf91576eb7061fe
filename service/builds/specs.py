"""Specification values under one name each, however a catalogue or a page writes the key.

`KV` and `kv`, `max_A` and `max_amps`, `C` and `c_rating` say the same; asking for one
finds the others.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from scrapers import to_base
from service.model.catalogue import Part

SAME: Final = (
    ("kv", "rpm_per_v", "kv_rpm_v"),
    ("c_rate", "c", "c_rating", "c_cont"),
    ("capacity_mah", "mah"),
    ("cells", "s", "cell_count"),
    ("max_cells", "cells_max"),
    ("amps", "a", "amps_cont", "cont_a", "continuous_a"),
    ("max_amps", "max_a", "amps_max"),
    ("max_volts", "max_v", "volts_max", "voltage_max"),
    ("max_rpm", "rpm_max"),
    ("bec_amps", "bec_a"),
    ("stall_amps", "stall_a"),
    ("shaft_mm", "shaft"),
    ("bore_mm", "bore"),
    ("mass_g", "mass", "weight", "weight_g"),
)
MASS: Final = "mass_g"
NAMES: Final = {name: row[0] for row in SAME for name in row}


@lru_cache(maxsize=4096)
def canonical(key: str) -> str:
    """The one name of a specification key; an unknown key keeps its own, without case."""
    plain = key.strip().casefold().replace("-", "_").replace(" ", "_")
    return NAMES.get(plain, plain)


def spec_value(part: Part, key: str) -> str | None:
    """What the part says under the key or another name of it; None where it says nothing.

    The mass of a part is what its specification says, else its `mass`.
    """
    own = part.spec.get(key)
    if own is not None:
        return own
    wanted = canonical(key)
    found = next((text for name, text in part.spec.items() if canonical(name) == wanted), None)
    if found is None and wanted == MASS and part.mass is not None:
        return f"{to_base(part.mass):f} g"
    return found


def spec_keys(part: Part) -> set[str]:
    """The one name of everything that the part says."""
    mass = {MASS} if part.mass is not None else set[str]()
    return mass | {canonical(name) for name in part.spec}


def says(part: Part, key: str) -> bool:
    """Whether the part says anything under the key."""
    return spec_value(part, key) is not None
