"""Whether an amount can count a part, and how much of it that is."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Final

from scrapers import Amount, Dimension, UnitError, dimension, format_amount
from service.builds.amounts import base_amount

if TYPE_CHECKING:
    from service.model.catalogue import Part

_EXAMPLE: Final = {
    Dimension.COUNT: '"2 pieces"',
    Dimension.LENGTH: '"0.5 m"',
    Dimension.AREA: '"300 x 600 mm" or "0.18 m2"',
    Dimension.MASS: '"150 g"',
    Dimension.VOLUME: '"50 ml"',
}
_BRIDGE: Final = {
    frozenset({Dimension.MASS, Dimension.AREA}): "an areal_mass",
    frozenset({Dimension.MASS, Dimension.VOLUME}): "a density",
}


def in_base(part: Part, amount: Amount) -> Decimal | None:
    """The amount in the base unit of the part's own dimension; None where it cannot count it."""
    try:
        exact = base_amount(amount, part)
    except UnitError:
        return None
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def mismatch(part: Part, amount: Amount) -> str | None:
    """What is wrong and what to do where `amount` cannot count `part`; else None."""
    if amount.value == 0 or in_base(part, amount) is not None:
        return None
    have, want = dimension(amount.unit), dimension(part.unit)
    ways = [f"write such as {_EXAMPLE[want]}"] if want in _EXAMPLE else []
    if bridge := _BRIDGE.get(frozenset({have, want})):
        ways.append(f"give part.{part.key} {bridge}")
    ways.append(f"change the unit of part.{part.key}")
    return (
        f'"{format_amount(amount)}" is {_a(have)}, but "{part.key}" is counted in {part.unit} '
        f"({_a(want)}); {', or '.join(ways)}"
    )


def _a(kind: Dimension) -> str:
    return f"{'an' if kind.value[0] in 'aeiou' else 'a'} {kind.value}"
