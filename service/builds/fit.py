"""Whether parts of a build agree, by simple trade arithmetic; each hint with its sum.

Hints, never design advice. Volts of a cell: 3.7 nominal and 4.2 full, high-voltage
(LiHV) 3.8 and 4.35, LiFe 3.3 and 3.65, Li-ion 3.6 and 4.2, NiMH 1.2 and 1.5 (common
practice). Speed unloaded = KV x V. Current that a battery
may give = C x Ah, a seller's claim that `believed` discounts.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from service.builds.cents import number_text
from service.builds.requirements import number, value_meets
from service.builds.specs import canonical, says, spec_value
from service.builds.words import Kind
from service.model.catalogue import Part

LIPO = (Decimal("3.7"), Decimal("4.2"))
CHEMISTRY = (
    (re.compile(r"\bli(?:po)?hv|\bhv(?:lipo)?\b"), (Decimal("3.8"), Decimal("4.35"))),
    (re.compile(r"\blife(?:po4?)?\b"), (Decimal("3.3"), Decimal("3.65"))),
    (re.compile(r"\bliion\b"), (Decimal("3.6"), Decimal("4.2"))),
    (re.compile(r"\bnimh\b"), (Decimal("1.2"), Decimal("1.5"))),
)
THOUSAND = Decimal(1000)

BATTERY = Kind(spec=("capacity_mAh",), classes=frozenset({"battery"}))
CONTROLLER = Kind(
    classes=frozenset({"esc", "controller"}),
    words=("esc", "controller*", "regler", "fahrtregler", "speed control*"),
    without=("programmer", "card", "flight controller", "prog"),
)
MOTOR = Kind(
    classes=frozenset({"motor", "brushless-motor", "boat-motor"}),
    spec=("kv",),
    words=("motor",),
    without=("mount", "controller", "esc", "regler", "plug", "halter"),
)
SERVO = Kind(
    classes=frozenset({"servo"}),
    words=("servo", "servos"),
    without=("lead", "arm", "mount", "tape"),
)

# pairs of specification keys that must agree where both sides are known
PAIRS = (
    ("spline", "spline"),
    ("system", "system"),
    ("thread", "nut_thread"),
    ("shaft_mm", "bore_mm"),
    ("module", "module"),
)


@dataclass(frozen=True, slots=True)
class Cells:
    """A battery as its volts go: nominal and full charge."""

    count: int
    nominal: Decimal
    full: Decimal


def figure(part: Part, key: str) -> Decimal | None:
    """A specification value as a number, its unit left aside."""
    text = spec_value(part, key)
    found = None if text is None else number(text)
    return found[0] if found else None


def most(part: Part, key: str) -> Decimal | None:
    """The upper end of a value or range: `6`, `2..6`, `2-6S`."""
    found = re.findall(r"\d+(?:\.\d+)?", spec_value(part, key) or "")
    return max(Decimal(x) for x in found) if found else None


def cells_of(part: Part) -> Cells | None:
    """Cells and volts of a battery; None where it does not say how many cells."""
    count = figure(part, "cells")
    if count is None:
        return None
    nominal, full = _of_one_cell(part)
    return Cells(int(count), count * nominal, count * full)


def _of_one_cell(part: Part) -> tuple[Decimal, Decimal]:
    """By the chemistry that the specification or the name tells; LiPo where none does."""
    said = f"{spec_value(part, 'chemistry') or ''} {part.name}".casefold().replace("-", "")
    return next((volts for word, volts in CHEMISTRY if word.search(said)), LIPO)


def wired(part: Part, count: Fraction, instead: Iterable[tuple[Part, Fraction]]) -> Part:
    """`count` batteries as the one that they stand for, where a single one may do instead.

    Two 3S in the place of one 6S are in series, two of 2200 mAh in that of one of 4400 in
    parallel. Otherwise nothing is known of their wiring, and the battery stays as it is.
    """
    cells, charge = figure(part, "cells"), figure(part, "capacity_mAh")
    if count <= 1 or count.denominator != 1 or cells is None or charge is None:
        return part
    for other, amount in instead:
        both = figure(other, "cells"), figure(other, "capacity_mAh")
        if amount != 1 or None in both:
            continue
        if both[0] == cells * int(count):
            return _as(part, "cells", cells * int(count))
        if both[0] == cells and both[1] is not None and both[1] > charge:
            return _as(part, "capacity_mah", charge * int(count))
    return part


def _as(part: Part, key: str, value: Decimal) -> Part:
    spec = {name: text for name, text in part.spec.items() if canonical(name) != key}
    return replace(part, spec=spec | {key: number_text(value)})


def watt_hours(part: Part) -> Decimal | None:
    """Energy of a battery: cells x volts of a cell (3.7 for LiPo) x Ah."""
    cells, capacity = cells_of(part), figure(part, "capacity_mAh")
    if cells is None or capacity is None:
        return None
    return cells.nominal * capacity / THOUSAND


def fit(parts: Sequence[Part], *, believed: Decimal = Decimal("0.5")) -> tuple[dict[str, str], ...]:
    """Hints on the parts of one build: `rule`, `level` (check or note), `parts`, `text`, `sum`."""
    batteries = [p for p in parts if BATTERY.holds(p)]
    controllers = [p for p in parts if CONTROLLER.holds(p) and p not in batteries]
    motors = [p for p in parts if MOTOR.holds(p) and p not in controllers and p not in batteries]
    servos = [p for p in parts if SERVO.holds(p)]
    found: list[dict[str, str] | None] = []
    for battery in batteries:
        found += [_volts(battery, part) for part in (*controllers, *motors)]
        found += [_speed(battery, motor) for motor in motors]
        found += [_current(battery, part, believed) for part in controllers or motors]
    found += [_controller_amps(c, m) for c in controllers for m in motors]
    found += [_bec(controller, servos) for controller in controllers]
    return (*(hint for hint in found if hint), *_plugs(batteries, controllers), *_pairs(parts))


def _hint(rule: str, level: str, parts: Sequence[Part], text: str, total: str) -> dict[str, str]:
    names = ", ".join(part.key for part in parts)
    return {"rule": rule, "level": level, "parts": names, "text": text, "sum": total}


def _volts(battery: Part, part: Part) -> dict[str, str] | None:
    """Full charge against the limit in volts, or the cells that a controller takes."""
    cells, limit, most_cells = cells_of(battery), figure(part, "max_volts"), _cell_limit(part)
    if cells is None:
        return None
    if limit is not None and cells.full > limit:
        total = f"{cells.count} cells: {_n(cells.full)} V full > {_n(limit)} V"
        text = f"{battery.key} is above what {part.key} takes when fully charged"
        return _hint("volts", "check", (battery, part), text, total)
    if most_cells is not None and cells.count > most_cells:
        total = f"{cells.count} cells > {_n(most_cells)}"
        text = f"{battery.key} has more cells than {part.key} takes"
        return _hint("cells", "check", (battery, part), text, total)
    return None


def _cell_limit(part: Part) -> Decimal | None:
    own = most(part, "max_cells")
    return most(part, "cells") if own is None else own


def _speed(battery: Part, motor: Part) -> dict[str, str] | None:
    cells, kv, limit = cells_of(battery), figure(motor, "kv"), figure(motor, "max_rpm")
    if cells is None or kv is None:
        return None
    full = kv * cells.full
    total = (
        f"{_n(kv)} x {_n(cells.nominal)} V = {_n(kv * cells.nominal)} rpm, "
        f"full {_n(kv)} x {_n(cells.full)} V = {_n(full)} rpm"
    )
    over = limit is not None and full > limit
    text = f"{motor.key} turns unloaded on {battery.key}"
    if over and limit is not None:
        text += f" faster than its limit of {_n(limit)} rpm"
    return _hint("speed", "check" if over else "note", (battery, motor), text, total)


def _current(battery: Part, part: Part, believed: Decimal) -> dict[str, str] | None:
    """C x Ah as claimed and as believed, against the amps that the drive may draw."""
    rate, capacity = figure(battery, "c_rate"), figure(battery, "capacity_mAh")
    draw = figure(part, "amps") or figure(part, "max_amps")
    if rate is None or capacity is None or draw is None:
        return None
    claimed = rate * capacity / THOUSAND
    if claimed * believed >= draw:
        return None
    total = (
        f"{_n(rate)} C x {_n(capacity / THOUSAND)} Ah = {_n(claimed)} A claimed, "
        f"{_n(claimed * believed)} A believed < {_n(draw)} A"
    )
    text = f"{battery.key} may not give what {part.key} can draw; C is the seller's claim"
    return _hint("current", "check", (battery, part), text, total)


def _controller_amps(controller: Part, motor: Part) -> dict[str, str] | None:
    have = figure(controller, "amps") or figure(controller, "max_amps")
    draw = figure(motor, "max_amps") or figure(motor, "amps")
    if have is None or draw is None or have >= draw:
        return None
    text = f"{motor.key} may draw more than {controller.key} carries"
    return _hint("amps", "check", (controller, motor), text, f"{_n(draw)} A > {_n(have)} A")


def _bec(controller: Part, servos: Sequence[Part]) -> dict[str, str] | None:
    have = figure(controller, "bec_amps")
    draws = [amps for servo in servos if (amps := figure(servo, "stall_amps")) is not None]
    if have is None or not draws or sum(draws) <= have:
        return None
    total = f"{' + '.join(_n(x) for x in draws)} = {_n(sum(draws, Decimal(0)))} A > {_n(have)} A"
    text = f"the servos may stall with more than the BEC of {controller.key} gives"
    return _hint("bec", "check", (controller, *servos), text, total)


def _plugs(batteries: Sequence[Part], controllers: Sequence[Part]) -> list[dict[str, str]]:
    """Only between these two: a motor's bullets are no battery plug."""
    both = [(b, c) for b in batteries for c in controllers if says(b, "plug") and says(c, "plug")]
    return [hint for b, c in both if (hint := _pair(b, "plug", c, "plug"))]


def _pairs(parts: Sequence[Part]) -> list[dict[str, str]]:
    """What is joined has to agree; a bore or nut needs one shaft or thread that fits it."""
    found = []
    for key, other in PAIRS:
        have = [part for part in parts if says(part, key)]
        want = [part for part in parts if says(part, other)]
        if key == other:
            have, want = have[:1], want[1:]
        for right in want:
            hints = [_pair(left, key, right, other) for left in have if left is not right]
            if hints and all(hints):
                found += [hint for hint in hints[:1] if hint]
    return found


def _pair(left: Part, key: str, right: Part, other: str) -> dict[str, str] | None:
    mine, theirs = spec_value(left, key) or "", spec_value(right, other) or ""
    if value_meets(mine, theirs) or value_meets(theirs, mine):
        return None
    text = f"{left.key} and {right.key} differ in {key.removesuffix('_mm')}"
    return _hint(key, "check", (left, right), text, f"{mine} / {theirs}")


def _n(value: Decimal) -> str:
    return number_text(value)
