"""How goods are sold, as titles and texts say it: a suggestion for the user to confirm."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from scrapers.model import Amount
from scrapers.texts.amounts import format_amount, read_amount, read_body
from scrapers.texts.quantities import fold

MAX_TEXT: Final = 2_000


@dataclass(frozen=True, slots=True)
class SoldAs:
    """What one purchase seems to contain.

    `amount`: as read; `text`: the same as the catalogue writes it. `thickness`: of a sheet,
    in mm. `ask`: a container word ("set", "roll", "can") whose content must be asked once,
    or "which" where the text gives several amounts that do not agree.
    """

    amount: Amount | None
    text: str | None
    thickness: Decimal | None = None
    ask: str | None = None


_N: Final = r"(?:\d+/\d+|\d+(?:[.,]\d+)?)"
_LEN: Final = r"(?:mm|cm|m|inch(?:es)?|in\b|ft\b|\"|'')"
_END: Final = r"(?![\w/²])"
_X: Final = r"\s*[x\u00d7*]\s*"
_SHAPES: Final = (
    ("body", re.compile(rf"(?<![\w.,/]){_N}\s*{_LEN}?{_X}{_N}\s*{_LEN}?{_X}{_N}\s*{_LEN}{_END}")),
    ("sheet", re.compile(rf"(?<![\w.,/]){_N}\s*{_LEN}?{_X}{_N}\s*{_LEN}{_END}")),
    (
        "many",
        re.compile(
            rf"(?<![\d.,/]){_N}\s*{_LEN}{_X}\d{{1,3}}(?:\s*(?:pcs?|pieces|stück|stk))?{_END}"
        ),
    ),
    (
        "pack",
        re.compile(
            r"\b(?:bag|pack|packet|box|set|lot|card|bundle|tin|beutel|packung|satz|sachet|paquet|boîte|zak|doos|pak|"
            r"bolsa|paquete|confezione|opakowanie|balení)\s*(?:of|mit|à|a|zu|de|da|di|van|met|po|:)\s*\d{1,5}"
            r"(?:\s*(?:pairs?|paare?|pcs?|pieces|stück|stk|pièces|stuks))?(?![\w.,])"
        ),
    ),
    (
        "npack",
        re.compile(
            r"(?<![\d.,/-])(?:[2-9]|\d{2,4})(?:er)?\s?-?(?:pack|pk|set|bag|beutel|packung)(?!\w)"
            r"|(?<![\d.,/-])(?:[2-9]|\d{2,4})er(?:-|\s)(?:set|pack)(?!\w)"
        ),
    ),
    (
        "count",
        re.compile(
            r"(?<![\d.,/x-])\d{1,5}\s*(?:x\s*)?(?:pairs?|prs|paare?|paires|pcs\.?|pc\.?|pieces|"
            r"stück|stk\.?|pièces|stuks|pezzi|unidades|szt\.?|ks)(?!\w)"
        ),
    ),
    (
        "metres",
        re.compile(rf"(?<![\d.,/x-])\d{{1,3}}{_X}{_N}\s*(?:m|g|kg|ml|l)(?![\w/²])"),
    ),
    ("area", re.compile(rf"(?<![\d.,/-]){_N}\s*(?:m2|qm|sqm|sq m|cm2)(?!\w)")),
    (
        "mass",
        re.compile(
            rf"(?<![\d.,/-]){_N}\s*(?:kg|g|gr|oz|lb|lbs|ml|l|ltr|litres?|liter|"
            r"fl\.? ?oz)(?![\w/²*])"
        ),
    ),
    ("length", re.compile(rf"(?<![\d.,/x-]){_N}\s*(?:m|metres?|meters?|ft|yd|yards?)(?![\w/²])")),
)
_ASK: Final = re.compile(
    r"\b(set|kit|roll|rolle|rouleau|rol|can|tin|dose|tube|bottle|flasche|pack|bag|bundle|satz|sortiment|assortment|pair|paar|paire)\b"
)
_ROD_SHAPES: Final = (("length", re.compile(rf"(?<![\w.,/x-])\d{{3,4}}(?:[.,]\d)?\s*mm{_END}")),)
_RODS: Final = re.compile(
    r"tubes?\b|rohr\w*|\brods?\b|st(?:a|ä)be?\b|\bbars?\b|leisten?\b|draht|profile?\b|tiges?\b|buis|staaf|"
    r"stange|shaft|welle\b|strip\b|vierkant|rundstab|longeron|spar\b|tubo|varilla"
)
_DEVICE: Final = re.compile(
    r"\d\s?mah\b|\b\d{2,5}\s?kv\b|\bkv\s?\d|\besc\b|\bservos?\b|motor\b|brushless|inrunner|outrunner|receiver|"
    r"empfänger|transmitter|regler|\bbec\b|charger|ladegerät|propeller|\bprop\b|akku|lipo|battery"
)
_BODIES: Final = frozenset({"body", "sheet", "length"})
_COUNTS: Final = frozenset({"pack", "npack", "count"})
LEAST_EDGE: Final = 150  # mm; smaller rectangles in a title are sizes of things, not sheets
_PAIR: Final = frozenset({"pair", "paar", "paire"})


# The first kind found is what is sold, the others describe it ("20 pcs, 300 mm").
_RANK: Final = (
    "pack",
    "npack",
    "count",
    "many",
    "body",
    "sheet",
    "metres",
    "area",
    "mass",
    "length",
)


def _candidates(folded: str, *, rods: bool) -> list[tuple[str, str]]:
    """(shape, text) of every amount, the more telling shapes first, without overlaps."""
    taken: list[tuple[int, int]] = []
    out: list[tuple[str, str]] = []
    for shape, pattern in (*_SHAPES, *_ROD_SHAPES) if rods else _SHAPES:
        for found in pattern.finditer(folded):
            start, end = found.span()
            if all(end <= a or start >= b for a, b in taken):
                taken.append((start, end))
                out.append((shape, found[0]))
    return out


def _piece() -> SoldAs:
    return SoldAs(Amount(Decimal(1), "piece"), "1 piece")


def _of(amount: Amount | None, thickness: Decimal | None = None) -> SoldAs | None:
    return SoldAs(amount, format_amount(amount), thickness) if amount is not None else None


def _rod(text: str) -> SoldAs | None:
    """Tubes, rods, profiles: the long edge is the length, the others are the section."""
    edges = [Decimal(edge.replace(",", ".")) for edge in re.findall(r"\d+(?:[.,]\d+)?", text)]
    long = max(edges)
    rest = sorted(edges)[:-1]
    unit = re.search(r"[a-z\"']+\s*$", text)
    if unit is None or rest[-1] * 8 > long:
        return None
    many = len(rest) == 1 and long > 99 and re.match(r"[1-9]\d?\s*[x\u00d7*]", text) is not None
    return _of(read_amount(f"{long} {unit[0]} x {rest[0]}" if many else f"{long} {unit[0]}"))


def _is_small(amount: Amount) -> bool:
    return amount.size is not None and max(amount.size) < LEAST_EDGE


def _sold(shape: str, text: str, *, rods: bool) -> SoldAs | None:
    if rods and shape in {"body", "sheet"}:
        return _rod(text)
    if shape == "body":
        body = read_body(text)
        if body is None or _is_small(body.amount):
            return None
        return _of(body.amount, body.thickness if body.amount.unit == "m2" else None)
    amount = read_amount(text)
    return None if amount is None or _is_small(amount) else _of(amount)


def _asked(folded: str) -> SoldAs | None:
    found = _ASK.search(folded)
    if _DEVICE.search(folded) and (found is None or found[1] not in _PAIR):
        return _piece()
    if found is None:
        return None
    return _of(read_amount("1 pair")) if found[1] in _PAIR else SoldAs(None, None, ask=found[1])


def _several(count: SoldAs, each: SoldAs) -> SoldAs | None:
    """`5 pieces` beside a sheet or a length: five of these."""
    if count.amount is None or each.amount is None or count.amount.unit != "piece":
        return None
    number, one = int(count.amount.value), each.amount
    if number < 2 or one.pieces > 1:
        return None
    return _of(Amount(one.value * number, one.unit, one.size, number), each.thickness)


def _settle(read: list[tuple[str, SoldAs]]) -> SoldAs:
    read.sort(key=lambda row: _RANK.index(row[0]))
    shape, best = read[0]
    bodies = [sold for kind, sold in read if kind in _BODIES]
    if shape in _COUNTS and bodies:
        return _several(best, bodies[0]) or best
    rivals = [sold for kind, sold in read if kind == shape and sold.amount != best.amount]
    if rivals:
        return SoldAs(best.amount, best.text, best.thickness, "which")
    return best


def read_sold_as(text: str) -> SoldAs | None:
    """How the goods of a title or short text are sold, or None where it does not say.

    Never to be used silently: with `ask` set the user must say; else to be confirmed.
    """
    folded = fold(text[:MAX_TEXT])
    rods = _RODS.search(folded) is not None
    device = _DEVICE.search(folded) is not None
    found = _candidates(folded, rods=rods)
    kept = [row for row in found if not device or row[0] in _COUNTS]
    read = [(shape, sold) for shape, part in kept if (sold := _sold(shape, part, rods=rods))]
    return _settle(read) if read else _asked(folded)
