"""What each amount of a price text is: the price, a list price, a saving, shipping, ..."""

from __future__ import annotations

import re
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple

from scrapers.texts.suffixes import UNIT_WORD
from scrapers.texts.tokens import Role, Token
from scrapers.texts.words import Mark, Said, read_gap

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

_DIGIT: Final = re.compile(r"\d")
_PER_SIGN: Final = re.compile(r"[/=]|\b(?:p[aer]|je|la|le|a[lu]|za|na)", re.IGNORECASE)
_UNIT_BEFORE: Final = re.compile(
    rf"(?:(?:\b(?:per|pro|je|par|au|la|le|al|za|na|pr\.?)|/)\s?(?P<per>(?:\d[\d.,]*\s?)?{UNIT_WORD})\s?:?"
    rf"|(?P<eq>\d[\d.,]*\s?{UNIT_WORD})\s?=)\s*$",
    re.IGNORECASE,
)
_TIMES_BEFORE: Final = re.compile(
    r"(?<![\w.,])(?!1\s?[xX\u00d7*])\d{1,3}\s?(?:[x\u00d7*]|mal|fois|veces|keer)\s*(?:de|à|a|of|von|da|van)?\s*$",
    re.IGNORECASE,
)
_TIMES_AFTER: Final = re.compile(r"^\s?[x\u00d7*]\s?\d{1,3}(?![\d.,])", re.IGNORECASE)
_MINUS: Final = re.compile(r"(?:^|[\s(:])-$")
_STRONG_ORDER: Final = (
    "mindest",
    "minimum order",
    "bestellwert",
    "orders over",
    "einkaufswert",
    "spend",
)
_CROSSES: Final = frozenset("xX\u00d7*")
_MUTE: Final = frozenset(("-", "*", "&", "~", "\u2013", "\u2014", "."))  # signs without a mark
_FREE_SHIP: Final = ("versandkostenfrei", "portofrei")


class Facts(NamedTuple):
    """What a gap says by itself, whatever the amounts beside it: its phrases and its signs."""

    said: tuple[Said, ...] = ()
    marks: Mapping[str, tuple[Said, ...]] = MappingProxyType({})
    rules: tuple[tuple[Callable[[Gap, Said], None], Said], ...] = ()
    signs: bool = False  # one of the following holds
    per: str | None = None  # "/ 100 g:", "1 m ="
    times: bool = False  # "3 x" before the next amount
    timed: bool = False  # "x 3" after the last
    minus: bool = False
    sign: str = ""  # the whole gap, where it is one sign


_BLANK: Final = Facts()


@lru_cache(maxsize=4096)  # the same words stand around many amounts
def _facts(text: str) -> Facts:
    bare = text.strip()
    if not bare:
        return _BLANK
    said = read_gap(text) if bare not in _MUTE else ()
    marks: dict[str, tuple[Said, ...]] = {}
    for one in said:
        for mark in one.marks:
            marks[mark] = (*marks.get(mark, ()), one)
    rules = tuple((rule, one) for mark, rule in _RULES if mark in marks for one in marks[mark])
    unit = _UNIT_BEFORE.search(text) if _PER_SIGN.search(text) else None
    per = (unit["per"] or unit["eq"]) if unit else None
    times = _DIGIT.search(text) is not None and _TIMES_BEFORE.search(text) is not None
    timed = bare[0] in _CROSSES and _TIMES_AFTER.match(text) is not None
    minus = text[-1] == "-" and _MINUS.search(text) is not None
    sign = bare if bare in {"-", "="} else ""
    signs = bool(per or times or timed or minus or sign)
    return Facts(said, marks, rules, signs, per, times, timed, minus, sign)


class Gap:
    """One stretch of words or signs, with the amount before and after it."""

    __slots__ = ("after", "before", "facts", "marks", "text")

    def __init__(self, text: str, facts: Facts, before: Token | None, after: Token | None) -> None:
        self.text = text
        self.before = before
        self.after = after
        self.facts = facts
        self.marks = facts.marks

    def _later(self, said: Said, mark: str) -> bool:
        return any(other.at > said.at for other in self.marks.get(mark, ()))

    def _is_cut(self, said: Said) -> bool:
        """Whether a bracket closes or a comma stands between a phrase and the next amount."""
        depth = 0
        for other in self.facts.said:
            if other.at <= said.at:
                continue
            if other.has(Mark.OPEN):
                depth += 1
            elif depth and other.has(Mark.CLOSE):
                depth -= 1
            elif not depth and (other.has(Mark.CLOSE) or other.has(Mark.BREAK)):
                return True
        return False

    def following(self, said: Said) -> Token | None:
        """The amount that a phrase standing before its amount is about."""
        if self.before is None and self.after is not None:
            return self.after
        cut = self._is_cut(said)
        if self.after is None or cut:
            return self.before if said.at <= 1 or cut else None
        return self.after

    def preceding(self, said: Said) -> Token | None:
        """The amount that a phrase standing after its amount is about."""
        if self.before is None or self.after is None:
            return self.after or (self.before if said.at <= 2 else None)
        return self.after if said.at > 1 or self._later(said, Mark.COLON) else self.before

    def has_percent(self) -> bool:
        """Whether the gap is about a percentage, not about the amounts around it."""
        percent = self.marks.get(Mark.PERCENT)
        if percent is None:
            return False
        return self.after is None or not self._later(percent[0], Mark.OPEN)

    def has(self, mark: str) -> bool:
        return mark in self.marks


def _set(token: Token | None, role: Role) -> None:
    if token is not None and token.role is Role.PRICE and not token.fixed:
        token.role = role


def _ship(gap: Gap, said: Said) -> None:
    folded = gap.text.casefold()
    free = gap.has(Mark.FREE) or any(word in folded for word in _FREE_SHIP)
    if free:
        if gap.has(Mark.ORDER) and gap.after is not None:
            _set(gap.after, Role.THRESHOLD)
        return
    if gap.after is not None:
        _set(gap.following(said), Role.SHIPPING)
    elif said.at == 0:
        _set(gap.before, Role.SHIPPING)


def _order(gap: Gap, said: Said) -> None:
    folded = gap.text.casefold()
    if any(word in folded for word in _STRONG_ORDER):
        _set(gap.following(said), Role.THRESHOLD)


def _save(gap: Gap, said: Said) -> None:
    if gap.after is not None and not gap.has_percent():
        _set(gap.following(said), Role.SAVING)


def _off(gap: Gap, said: Said) -> None:
    if gap.has_percent():
        return
    # "599 Kč Sleva 100 Kč", "€5 korting €12": the saving is the lower of the two
    _set(_lower(gap) if said.at == 0 else gap.preceding(said), Role.SAVING)


def _lower(gap: Gap) -> Token | None:
    """The lower of the amounts around a gap, or the only one."""
    sides = [side for side in (gap.before, gap.after) if side is not None]
    return min(sides, key=lambda side: side.value or 0, default=None)


def _plus(gap: Gap, said: Said) -> None:
    if said.last:
        _set(gap.after, Role.EXTRA)


def _part(gap: Gap, said: Said) -> None:
    if said.last and gap.before is not None:
        _set(gap.after, Role.EXTRA)


def _instalment(gap: Gap, said: Said) -> None:
    if gap.after is None:
        _set(gap.before if said.at == 0 else None, Role.INSTALMENT)
    else:
        _set(gap.following(said), Role.INSTALMENT)


def _upto(gap: Gap, said: Said) -> None:
    if gap.before is None and said.at == 0 and said.last:
        _set(gap.after, Role.UPTO)


def _deposit(gap: Gap, said: Said) -> None:
    _set(_lower(gap) if gap.before and gap.after else gap.preceding(said), Role.EXTRA)


def _as(role: Role) -> Callable[[Gap, Said], None]:
    def rule(gap: Gap, said: Said) -> None:
        _set(gap.following(said), role)

    return rule


# In the order in which they win over one another.
_RULES: Final[tuple[tuple[str, Callable[[Gap, Said], None]], ...]] = (
    (Mark.INSTALMENT, _instalment),
    (Mark.SHIP, _ship),
    (Mark.ORDER, _order),
    (Mark.PRIOR, _as(Role.PRIOR)),
    (Mark.UNIT, _as(Role.UNIT)),
    (Mark.DEPOSIT, _deposit),
    (Mark.PART, _part),
    (Mark.PLUS, _plus),
    (Mark.SAVE, _save),
    (Mark.OFF, _off),
    (Mark.MEMBER, _as(Role.MEMBER)),
    (Mark.LIST, _as(Role.LIST)),
    (Mark.UPTO, _upto),
    (Mark.CART, _as(Role.CART)),
)


def _rises(gap: Gap) -> bool:
    """Whether a lone dash stands between a lower and a higher amount: a range, no minus."""
    before, after = gap.before, gap.after
    if gap.facts.sign != "-" or before is None or after is None:
        return False
    return before.value is not None and after.value is not None and before.value < after.value


def _by_signs(gap: Gap) -> None:
    """Signs rather than words: a minus, "100 g =", "3 x", "/m"."""
    after, before, facts = gap.after, gap.before, gap.facts
    if after is not None:
        if facts.per and after.role is Role.PRICE and after.per is None:
            after.role, after.per = Role.UNIT, facts.per
        if facts.times:
            _set(after, Role.TIMES)
        if facts.minus and not _rises(gap):
            _set(after, Role.NEGATIVE)
    if before is not None and facts.timed:
        _set(before, Role.TIMES)
    if before is not None and before.role is Role.TIMES and facts.sign == "=":
        _set(after, Role.TIMES)  # "2 x 10 € = 20 €": the total of several


def _van_voor(stretches: list[str], found: list[Token]) -> None:
    """Dutch "van X voor Y", Portuguese "de X por Y": X is the old price."""
    second = stretches[1].strip().casefold()
    if second.startswith(("voor", "por")):
        last = "van" if second[0] == "v" else "de"
        if stretches[0].strip().casefold().endswith(last):
            _set(found[0], Role.LIST)


def assign(found: list[Token], stretches: list[str]) -> list[Gap]:
    """Give every token its role; the gaps come back for what they say of tax and "from".

    `stretches`: the texts before, between and after the tokens. Blank ones make no gap.
    """
    gaps: list[Gap] = []
    before: Token | None = None
    for text, token in zip(stretches, (*found, None), strict=True):
        facts = _facts(text) if text else _BLANK
        if facts is not _BLANK:
            gap = Gap(text, facts, before, token)
            gaps.append(gap)
            if facts.signs:
                _by_signs(gap)
        if token is not None and token.negative:
            _set(token, Role.NEGATIVE)
        before = token
    for gap in gaps:
        for rule, said in gap.facts.rules:
            rule(gap, said)
    if len(found) > 1:
        _van_voor(stretches, found)
    return gaps
