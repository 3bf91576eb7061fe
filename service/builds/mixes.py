"""What is mixed of two components: a line splits by mass where they are sold apart."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from scrapers import Amount, UnitError
from service.builds import texts
from service.builds.amounts import base_amount, mass_of
from service.builds.cents import number_text, to_decimal
from service.builds.versions import resolve
from service.builds.view import PriceView, listings_by_part
from service.model.builds import Build, Line
from service.model.catalogue import Part

STEP = Decimal("0.001")  # g: no scale of a workshop shows less


def whole_build(build: Build, view: PriceView) -> Build:
    """All the lines that are priced: those of the base, mixtures split. InputError: see resolve."""
    found = resolve(build, view.builds)
    if not any(part.mix_of for part in _parts_of(found, view.parts)):
        return found
    if "by part" not in view.memo:
        view.memo["by part"] = listings_by_part(view.listings)
    return apart(found, view.parts, view.memo["by part"])


def _parts_of(build: Build, parts: Mapping[str, Part]) -> list[Part]:
    return [parts[line.part] for line in build.lines if line.part and line.part in parts]


def apart(build: Build, parts: Mapping[str, Part], sold: Collection[str]) -> Build:
    """Each line of a mixture that nobody sells as one becomes a line for each component.

    A line with alternatives stays whole: which way it goes depends on prices.
    """
    lines: list[Line] = []
    for line in build.lines:
        lines += [line] if line.choose else split_line(line, parts, sold)
    return replace(build, lines=tuple(lines))


def split_line(line: Line, parts: Mapping[str, Part], sold: Collection[str]) -> list[Line]:
    """The line, or one for each component where its part is a mixture that is not sold as one."""
    part = parts.get(line.part or "")
    if part is None or not part.mix_of or part.key in sold or line.counts.kind == "owned":
        return [line]
    grams = _grams(line.amount, part)
    if grams is None:
        return [line]
    shares = split_mass(grams, part.mix)
    made = [
        replace(line, part=key, amount=Amount(share, "g"), mixed=part.key, hours=None)
        for key, share in zip(part.mix_of, shares, strict=True)
    ]
    return [replace(made[0], hours=line.hours), *made[1:]]


def _grams(amount: Amount, part: Part) -> Fraction | None:
    try:
        return mass_of(base_amount(amount, part), replace(part, mass=None))
    except UnitError:
        return None


def split_mass(grams: Fraction, mix: tuple[Decimal, ...]) -> tuple[Decimal, ...]:
    """Grams of the two components, to the milligram; together exactly the rounded whole."""
    whole = _rounded(grams)
    first = _rounded(grams * Fraction(mix[0]) / Fraction(sum(mix)))
    return first, whole - first


def _rounded(grams: Fraction) -> Decimal:
    return to_decimal(grams).quantize(STEP, ROUND_HALF_UP)


def mix_note(line: Line, part: Part, need: Fraction, parts: Mapping[str, Part]) -> str:
    """What the line is of a mixture, or what its own mixture takes of each component."""
    if line.mixed and line.mixed in parts:
        return texts.COMPONENT.format(part=line.mixed, mix=_ratio(parts[line.mixed]))
    grams = mass_of(need, replace(part, mass=None)) if part.mix and need else None
    if grams is None:
        return ""
    first, second = (number_text(share) for share in split_mass(grams, part.mix))
    return texts.MIX.format(mix=_ratio(part), first=first, second=second)


def _ratio(part: Part) -> str:
    return ":".join(number_text(side) for side in part.mix)
