"""What each amount of a price text is: the price, a list price, a saving, shipping, ..."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from scrapers.texts.tokens import UNIT_WORD, Role, Token
from scrapers.texts.words import Mark, Said, read_gap

if TYPE_CHECKING:
    from collections.abc import Callable

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
_FREE_SHIP: Final = ("versandkostenfrei", "portofrei")


@lru_cache(maxsize=2048)
def _facts(text: str) -> tuple[tuple[Said, ...], dict[str, tuple[Said, ...]]]:
    """What a gap says, in order and by mark; the same words stand around many amounts."""
    found = tuple(read_gap(text)) if text.strip() else ()
    marks = {mark for said in found for mark in said.marks}
    return found, {mark: tuple(said for said in found if mark in said.marks) for mark in marks}


class Gap:
    """One stretch between amounts, with the amount before and after it."""

    __slots__ = ("after", "before", "marks", "said", "text")

    def __init__(self, text: str, before: Token | None, after: Token | None) -> None:
        self.text = text
        self.before = before
        self.after = after
        self.said, self.marks = _facts(text)

    def _later(self, said: Said, mark: str) -> bool:
        return any(other.at > said.at for other in self.marks.get(mark, ()))

    def _is_cut(self, said: Said) -> bool:
        """Whether a bracket closes or a comma stands between a phrase and the next amount."""
        depth = 0
        for other in self.said:
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
    if gap.text.strip() != "-" or before is None or after is None:
        return False
    return before.value is not None and after.value is not None and before.value < after.value


def _by_shape(gap: Gap) -> None:
    """Signs rather than words: a glued minus, "100 g =", "3 x", "/m"."""
    after, before = gap.after, gap.before
    if gap.text in {"", " "}:
        if after is not None and after.negative:
            _set(after, Role.NEGATIVE)
        return
    if after is not None:
        unit = _UNIT_BEFORE.search(gap.text) if _PER_SIGN.search(gap.text) else None
        if unit and after.role is Role.PRICE and after.per is None:
            after.role, after.per = Role.UNIT, unit["per"] or unit["eq"]
        if _DIGIT.search(gap.text) and _TIMES_BEFORE.search(gap.text):
            _set(after, Role.TIMES)
        if after.negative or (_MINUS.search(gap.text) and not _rises(gap)):
            _set(after, Role.NEGATIVE)
    if before is not None and _TIMES_AFTER.match(gap.text):
        _set(before, Role.TIMES)
    if before is not None and before.role is Role.TIMES and gap.text.strip() == "=":
        _set(after, Role.TIMES)  # "2 x 10 € = 20 €": the total of several


def _by_words(gap: Gap) -> None:
    for mark, rule in _RULES:
        for said in gap.marks.get(mark, ()):
            rule(gap, said)


def _van_voor(gaps: list[Gap], tokens: list[Token]) -> None:
    """Dutch "van X voor Y", Portuguese "de X por Y": X is the old price."""
    first, second = gaps[0].text.casefold().strip(), gaps[1].text.casefold().strip()
    pairs = (("van", "voor"), ("de", "por"), ("från", "till"))
    if any(first.endswith(a) and second.startswith(b) for a, b in pairs[:2]):
        _set(tokens[0], Role.LIST)


def assign(text: str, tokens: list[Token]) -> list[Gap]:
    """Give every token its role; the gaps come back for what they say of tax and "from"."""
    edges = [0, *(token.end for token in tokens)]
    starts = [*(token.start for token in tokens), len(text)]
    neighbours = [None, *tokens, None]
    gaps = [
        Gap(text[edges[i] : starts[i]], neighbours[i], neighbours[i + 1])
        for i in range(len(tokens) + 1)
    ]
    for gap in gaps:
        _by_shape(gap)
    for gap in gaps:
        if gap.marks:
            _by_words(gap)
    if len(tokens) > 1:
        _van_voor(gaps, tokens)
    return gaps
