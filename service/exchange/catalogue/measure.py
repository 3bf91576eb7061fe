"""Whether an amount can count a part, and how much of it that is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from scrapers import Amount, Dimension, dimension, format_amount, to_base

if TYPE_CHECKING:
    from decimal import Decimal

    from service.model.catalogue import Part

_MASS, _AREA, _VOLUME = Dimension.MASS, Dimension.AREA, Dimension.VOLUME
_EXAMPLE: Final = {
    Dimension.COUNT: '"2 pieces"',
    Dimension.LENGTH: '"0.5 m"',
    _AREA: '"300 x 600 mm" or "0.18 m2"',
    _MASS: '"150 g"',
    _VOLUME: '"50 ml"',
}

_BASE: Final = {
    Dimension.COUNT: "piece",
    Dimension.LENGTH: "m",
    _AREA: "m2",
    _MASS: "g",
    _VOLUME: "ml",
    Dimension.AREAL_MASS: "g/m2",
}


def base_unit(part: Part) -> str:
    """The base unit of what the part is counted in."""
    return _BASE[dimension(part.unit)]


def in_base(part: Part, amount: Amount) -> Decimal | None:
    """The amount in the base unit of the part's own dimension; None where it cannot count it.

    Mass and area meet through the part's areal mass, mass and volume through its density.
    """
    have, want = dimension(amount.unit), dimension(part.unit)
    value = to_base(amount, pair_is=part.pair_is)
    if have is want:
        return value
    if part.areal_mass is not None and {have, want} == {_MASS, _AREA}:
        return value / part.areal_mass if have is _MASS else value * part.areal_mass
    if part.density is not None and {have, want} == {_MASS, _VOLUME}:
        return value / part.density if have is _MASS else value * part.density
    return None


def mismatch(part: Part, amount: Amount) -> str | None:
    """What is wrong and what to do where `amount` cannot count `part`; else None."""
    if amount.value == 0 or in_base(part, amount) is not None:
        return None
    have, want = dimension(amount.unit), dimension(part.unit)
    ways = [f"write such as {_EXAMPLE[want]}"] if want in _EXAMPLE else []
    if {have, want} == {_MASS, _AREA}:
        ways.append(f"give part.{part.key} an areal_mass")
    if {have, want} == {_MASS, _VOLUME}:
        ways.append(f"give part.{part.key} a density")
    ways.append(f"change the unit of part.{part.key}")
    return (
        f'"{format_amount(amount)}" is {_a(have)}, but "{part.key}" is counted in {part.unit} '
        f"({_a(want)}); {', or '.join(ways)}"
    )


def _a(kind: Dimension) -> str:
    return f"{'an' if kind.value[0] in 'aeiou' else 'a'} {kind.value}"
