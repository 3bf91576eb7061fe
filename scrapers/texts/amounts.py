"""Amounts as people write them: "1,5 kg", "300 x 600 mm", "4 pairs", "1/2 m", "2 x 5 m".

Two readings of the same text are told apart by written rules, not by guess:

* `2 x 5 m` (a bare whole number first, then m, ft or yd) is two pieces of 5 m;
* `300 x 600 mm`, `1.2 x 5 m`, `1 m x 1.2 m` are sheets by their edges;
* `300 mm x 4` (a bare whole number last) is four pieces of 300 mm;
* `900 x 300 x 2 mm` is a sheet of 0.27 m2, the smallest edge being its thickness;
* `1000 x 8 x 8 mm` is a bar of 1 m, its section staying out of the amount.

Where no rule decides, the error says both ways to write it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from scrapers.errors import UnitError
from scrapers.model import Amount
from scrapers.texts.quantities import fold, leading_number, plain
from scrapers.texts.units import UNITS, Dimension, unit_key

MAX_TEXT: Final = 200

_TIMES: Final = re.compile(r"(?<=[\w\"'.])\s*(?:[x\u00d7*\u2715]|\bby\b|\bmal\b)\s*(?=[-+.,\d])")
_LEAD: Final = re.compile(
    r"^(?:ca\.?|approx\.?|about|circa|env\.?|environ|etwa|je|per|pro|inhalt:?|contents?:?)\s+"
)
_BODIES: Final = (
    r"(?:sheets?|pieces?|pcs?\.?|strips?|lengths?|rods?|tubes?|boards?|panels?|st(?:ü|ue)cke?|stk\.?|"
    r"platten?|bl(?:a|ä)tter|streifen|stäbe|st(?:a|á)ngen|stuks?|platen|plaques?|feuilles?|"
    r"pi(?:è|e)ces?|barres?|tubes?|lastre|fogli|pezzi|planchas|piezas)"
)
_COUNTED: Final = re.compile(
    rf"^(\d{{1,6}})\s*(?:x\s*)?{_BODIES}\s*(?:of|à|a|von|van|de|da|@)?\s*(?=\(?\d)(.+)$"
)
_IN_PIECES: Final = re.compile(rf"^(.+?) in (\d{{1,6}}) {_BODIES}$")
_CONTAINER: Final = (
    r"(?:bags?|packs?|packets?|pkts?|pk|boxe?s?|sets?|lots?|cards?|tins?|bundles?|beutel|packung|"
    r"p(?:ä|ae)ckchen|pckg|tüte|schachtel|satz|sachets?|paquets?|bo(?:î|i)tes?|zak|zakje|doos|pak|"
    r"sacchetto|confezione|bolsa|paquete|juego|opakowanie|balení|förpackning|påse|pose|pakke)"
)
_HOLDER: Final = (
    r"(?:rolls?|reel|spool|tubs?|cans?|tins?|tubes?|bottles?|jars?|buckets?|rolle|dose|flasche|tube|eimer|kanister|"
    r"spule|rouleau|bobine|pot|flacon|rol|blik|fles|barattolo|rotolo|rollo|bote|rolka|puszka|plechovka)"
)
_BAG_OF: Final = re.compile(
    rf"^(?:(?:a|1|one|ein|eine|un|une|een)\s+)?(?P<bag>{_CONTAINER}|{_HOLDER})\s*"
    r"(?:of|mit|à|a|zu|de|da|di|van|met|po|med|:)?\s*(?P<rest>\d.*)$"
)
_PACKS: Final = re.compile(
    rf"^(?P<n>\d{{1,4}})\s*(?:x\s*)?(?P<bag>{_CONTAINER}|{_HOLDER})\s*"
    r"(?:of|mit|à|a|zu|de|da|di|van|met|po|med|:)\s*(?P<rest>\d.*)$"
)
_HELD: Final = re.compile(rf"^(?P<amount>.*\d\s*[^\W\d_]\S*)\s+(?:{_CONTAINER}|{_HOLDER})$")
_N_PACK: Final = re.compile(
    r"^([2-9]|\d{2,6})\s*(?:er|-er)?[\s-]*(?:pack|pk|set|bag|box|card|beutel|packung|satz|pak|doos)$"
)
_DOZEN: Final = re.compile(r"^(?P<n>\d{1,4}|a|one|half a)?\s*dozen$")
_UNSIZED: Final = re.compile(
    r"^(?:a|\d{1,3}|one|ein|un|une|een)?\s*(sets?|rolls?|rolle|rouleau|rol|cans?|tins?|dose|tubes?|kits?|"
    r"bottles?|flasche|packs?|bags?|boxe?s?|sheets?|platte|bundles?|satz)$"
)
_RUNNING: Final = frozenset({"m", "ft", "yd"})


@dataclass(frozen=True, slots=True)
class _Part:
    """One number between the crosses, with its unit where one was written."""

    value: Decimal
    unit: str | None

    @property
    def mm(self) -> Decimal:
        return self.value * UNITS[self.unit or "mm"].factor * 1000

    @property
    def is_count(self) -> bool:
        bare = self.unit is None or UNITS[self.unit].dimension is Dimension.COUNT
        return bare and self.value == self.value.to_integral_value() and self.value < 1_000_000


def _part(text: str) -> _Part:
    found = leading_number(text.strip(" ()"))
    if found is None:
        raise UnitError(f"no number in '{text}': write an amount such as '1 piece' or '0.5 m'")
    value, rest = found
    if value <= 0:
        raise UnitError(f"'{text}' is not more than nothing: write an amount above 0")
    if not rest:
        return _Part(value, None)
    unit = unit_key(rest.strip(" ()"))
    if unit is None:
        raise UnitError(f"'{rest}' is no unit known here; write one of: {', '.join(UNITS)}")
    return _Part(value, unit)


def _is_length(part: _Part) -> bool:
    return part.unit is not None and UNITS[part.unit].dimension is Dimension.LENGTH


def _sheet(first: _Part, second: _Part, pieces: int = 1) -> Amount:
    area = first.mm * second.mm / 1_000_000 * pieces
    return Amount(area, "m2", (first.mm, second.mm), pieces)


def _many(count: _Part, each: _Part) -> Amount:
    """`count` bodies of `each`: lengths and masses keep their pieces, counts just multiply."""
    if each.unit is None:
        raise UnitError("the amount lacks a unit: write '4 pieces' or '300 x 600 mm'")
    number = int(count.value)
    is_count = UNITS[each.unit].dimension is Dimension.COUNT
    return Amount(each.value * number, each.unit, None, 1 if is_count else number)


def _undecided(first: _Part, second: _Part) -> UnitError:
    edge, unit = f"{second.value:f} {second.unit}", second.unit
    return UnitError(
        f"'{first.value:f} x {edge}' may be pieces or a sheet: write '{edge} x {first.value:f}' "
        f"for {first.value:f} pieces, or '{first.value:f} {unit} x {edge}' for a sheet"
    )


def _two(first: _Part, second: _Part) -> Amount:
    if second.unit is None:
        if not second.is_count or second.value > 200 or first.unit is None:
            raise UnitError("write the unit last, such as '300 x 600 mm', or '300 mm x 4'")
        return _many(second, first)
    if not _is_length(second):
        if first.is_count:
            return _many(first, second)
        raise UnitError("only a count times an amount, or two lengths, make an amount")
    if first.unit is None and first.is_count:
        if second.unit in _RUNNING:
            return _many(first, second)
        if first.value <= 12 and second.value >= first.value * 20:
            raise _undecided(first, second)
    if first.unit is None:
        first = _Part(first.value, second.unit)
    return _many(first, second) if not _is_length(first) else _sheet(first, second)


@dataclass(frozen=True, slots=True)
class Body:
    """Three edges in mm, largest first, and what they make."""

    amount: Amount
    thickness: Decimal


def _three(parts: list[_Part]) -> Body:
    unit = next((part.unit for part in reversed(parts) if part.unit), None)
    if unit is None or UNITS[unit].dimension is not Dimension.LENGTH:
        raise UnitError("write three edges with their unit, such as '900 x 300 x 2 mm'")
    full = [_Part(part.value, part.unit or unit) for part in parts]
    if not all(_is_length(part) for part in full):
        raise UnitError("three edges must all be lengths, such as '900 x 300 x 2 mm'")
    edges = sorted((part.mm for part in full), reverse=True)
    thickness_first = full[0].mm == edges[2] and full[2].mm != edges[2]
    if thickness_first and parts[0].unit is None and parts[0].is_count and parts[0].value <= 20:
        raise UnitError(
            "the smallest number stands first and may be a count or the thickness: write "
            "'2 sheets of 300 x 600 mm' or '300 x 600 x 2 mm'"
        )
    return _body(edges)


def _body(edges: list[Decimal]) -> Body:
    long, wide, thick = edges
    if thick * 2 <= wide:
        return Body(Amount(long * wide / 1_000_000, "m2", (long, wide)), thick)
    if wide * 5 <= long:
        return Body(Amount(long, "mm"), thick)
    raise UnitError("a block is sold by the piece here: write '1 piece'")


def _simple(part: _Part) -> Amount:
    if part.unit is None:
        raise UnitError(
            f"'{part.value:f}' lacks a unit: write '{part.value:f} pieces' or '{part.value:f} m'"
        )
    return Amount(part.value, part.unit)


def read_body(text: str) -> Body | None:
    """Three edges as a sheet with its thickness (mm) or a bar; None for anything else."""
    parts = _TIMES.split(fold(text))
    if len(parts) != 3:
        return None
    try:
        return _three([_part(part) for part in parts])
    except (UnitError, ArithmeticError):
        return None


def _crossed(text: str) -> Amount:
    parts = [_part(part) for part in _TIMES.split(text)]
    if len(parts) == 1:
        return _simple(parts[0])
    if len(parts) == 2:
        return _two(*parts)
    if len(parts) == 3:
        return _three(parts).amount
    raise UnitError(f"'{text}' has too many numbers: write at most three edges")


def _times(amount: Amount, number: int) -> Amount:
    if number == 0:
        raise UnitError("0 pieces is not more than nothing: write an amount above 0")
    is_count = UNITS[amount.unit].dimension is Dimension.COUNT
    pieces = 1 if is_count else amount.pieces * number
    return Amount(amount.value * number, amount.unit, amount.size, pieces)


def _packed(text: str) -> Amount | None:
    """`bag of 20`, `10-pack`, `a dozen`: counts told by their container."""
    dozen = _DOZEN.match(text)
    if dozen:
        word = dozen["n"] or "1"
        return Amount(
            Decimal({"a": 12, "one": 12, "half a": 6}.get(word, 0) or int(word) * 12), "piece"
        )
    pack = _N_PACK.match(text)
    if pack:
        return Amount(Decimal(pack[1]), "piece")
    packs = _PACKS.match(text)
    if packs:
        return _times(_held(packs["bag"], packs["rest"]), int(packs["n"]))
    found = _BAG_OF.match(text)
    return _held(found["bag"], found["rest"]) if found else None


def _held(container: str, content: str) -> Amount:
    """`bag of 20`, `can of 1,5 kg`: a bare number in what holds single things counts them."""
    if content.isdigit() and not re.fullmatch(_HOLDER, container):
        content = f"{content} piece"
    return _parse(content)


def _parse(text: str) -> Amount:
    packed = _packed(text)
    if packed is not None:
        return packed
    held = _HELD.match(text)
    if held:
        return _parse(held["amount"])
    unsized = _UNSIZED.match(text)
    if unsized:
        raise UnitError(
            f"'{text}' does not say how much it holds: write its content, such as "
            "'4 pieces', '10 m', '300 g' or '300 x 600 mm'"
        )
    counted = _COUNTED.match(text)
    if counted and not counted[2].startswith(("x", "/")):
        return _times(_crossed(counted[2].strip(" ()")), int(counted[1]))
    divided = _IN_PIECES.match(text)
    if divided:
        whole = _crossed(divided[1])
        return Amount(whole.value, whole.unit, whole.size, max(1, int(divided[2])))
    return _crossed(text)


def parse_amount(text: str) -> Amount:
    """The amount that `text` states. UnitError says what to write instead."""
    folded = _LEAD.sub("", fold(text[: MAX_TEXT + 1]))
    if not folded or len(text) > MAX_TEXT:
        raise UnitError("write an amount such as '1 piece', '0.27 m2', '300 g' or '300 x 600 mm'")
    try:
        return _tidy(_parse(folded))
    except ArithmeticError:
        raise UnitError(f"'{text}' holds no usable number: write such as '0.5 m'") from None


def _tidy(amount: Amount) -> Amount:
    """The same amount however it was written: 0.60 m and 0.6 m are one text in the book."""
    value = Decimal(plain(amount.value))
    if amount.size is None:
        return replace(amount, value=value)
    long, wide = (Decimal(plain(edge)) for edge in amount.size)
    return replace(amount, value=value, size=(long, wide))


def read_amount(text: str) -> Amount | None:
    """The amount that `text` states, or None."""
    try:
        return parse_amount(text)
    except UnitError:
        return None


def _format_sheet(amount: Amount, size: tuple[Decimal, Decimal]) -> str:
    edges = f"{plain(size[0])} mm x {plain(size[1])} mm"
    if amount.unit != "m2" or size[0] * size[1] * amount.pieces != amount.value * 1_000_000:
        return f"{plain(amount.value)} {amount.unit}"
    whole = all(edge == edge.to_integral_value() and edge > 12 for edge in size)
    edges = f"{plain(size[0])} x {plain(size[1])} mm" if whole else edges
    return edges if amount.pieces == 1 else f"{amount.pieces} pieces of {edges}"


def format_amount(amount: Amount) -> str:
    """A text that `parse_amount` reads back as an equal amount."""
    if amount.size is not None:
        return _format_sheet(amount, amount.size)
    whole = f"{plain(amount.value)} {amount.unit}"
    if amount.pieces == 1:
        return whole
    each = amount.value / amount.pieces
    if each * amount.pieces == amount.value and len(plain(each)) < 12:
        return (
            f"{amount.pieces} x {plain(each)} m"
            if amount.unit == "m"
            else (f"{amount.pieces} pieces of {plain(each)} {amount.unit}")
        )
    return f"{whole} in {amount.pieces} pieces"
