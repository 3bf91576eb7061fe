"""What a build lacks, with a part and an amount to add for it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from scrapers import Amount, format_amount
from service.builds.companions import Ratio, Rule, Rules, builtin_rules, read_rules
from service.builds.cost import BuildCost
from service.builds.view import PriceView
from service.model.catalogue import Part

# as many as there are of what asks for them; of all others one: common practice
FOR_EACH = frozenset(
    {
        *("servo-mount", "servo-lead", "servo-linkage", "control-horn", "prop-adapter"),
        *("folding-spinner", "folding-collet", "motor-coupling", "drive-dog", "pinion"),
    }
)
HINGES = 3  # a control surface
LEAST = "1"


def with_advice(
    found: Sequence[Mapping[str, str]], cost: BuildCost, view: PriceView
) -> list[dict[str, str | bool]]:
    """Each hint with `add` (a part's name), `known` (the book has it), `amount` and `group`."""
    base = builtin_rules()
    rules = read_rules(view.companion_rules, base) if view.companion_rules else base
    return [{**row, **_advice(row, rules, cost, view)} for row in found]


def _advice(
    row: Mapping[str, str], rules: Rules, cost: BuildCost, view: PriceView
) -> dict[str, str | bool]:
    rule: Rule | Ratio | None = rules.rules.get(row["rule"]) or rules.ratios.get(row["rule"])
    group = next((line.group for line in cost.lines if line.part == row["part"]), "other")
    if rule is None:
        return {"add": _name(row["lacks"]), "known": False, "amount": LEAST, "group": group}
    kind = rule.wants if isinstance(rule, Rule) else rule.partner
    known = next((part for part in view.parts.values() if kind.holds(part)), None)
    name = known.name if known else _name(row["lacks"])
    amount = _amount(row, rule, cost, view)
    if known is not None and isinstance(rule, Rule):
        amount = _in_unit(known, amount)
    return {"add": name, "known": known is not None, "amount": amount, "group": group}


def _amount(row: Mapping[str, str], rule: Rule | Ratio, cost: BuildCost, view: PriceView) -> str:
    if isinstance(rule, Ratio):
        return _grams(rule, cost, view)
    asking = [x.amount for x in cost.lines if x.part in view.parts and _asks(rule, x.part, view)]
    many = sum((a.value for a in asking if a.unit == "piece"), Decimal(0))
    count = math.ceil(many) or 1
    if row["rule"] == "hinges":
        return f"{HINGES * count} piece"
    return f"{count if row['rule'] in FOR_EACH else 1} piece"


def _asks(rule: Rule, key: str | None, view: PriceView) -> bool:
    return key is not None and rule.when.holds(view.parts[key])


def _grams(rule: Ratio, cost: BuildCost, view: PriceView) -> str:
    """What lacks to the least that the rule asks."""
    of, have = Decimal(0), Decimal(0)
    for line in cost.lines:
        part = view.parts.get(line.part or "")
        if part is None or line.mass is None:
            continue
        if rule.partner.holds(part):
            have += Decimal(line.mass)
        elif rule.of.holds(part):
            of += Decimal(line.mass)
    return f"{max(math.ceil(of * rule.least - have), 1)} g"


def _in_unit(part: Part, pieces: str) -> str:
    """A part that is not counted by the piece: one of its units."""
    if part.unit in ("piece", "pair"):
        return f"{pieces.partition(' ')[0]} {part.unit}"
    return format_amount(Amount(Decimal(1), part.unit))


def _name(lacks: str) -> str:
    """`a servo lead` -> `Servo lead`: a name for a part that the book has not."""
    plain = re.sub(r"^(an?|the|three pairs of)\s+", "", re.split(r"[,:(]", lacks)[0].strip())
    return (plain[:1].upper() + plain[1:])[:80].strip()
