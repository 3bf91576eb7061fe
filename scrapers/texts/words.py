"""The words around amounts: what they say about the amount before or after them.

Common practice of shops in English, German, French, Dutch, Italian, Spanish,
Polish, Czech, Swedish and Danish. Phrases are found word by word, so that a
text costs the same however many phrases are known.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import Final, NamedTuple

from scrapers.texts.wordlist import read_sections


class Mark:
    """What a phrase says: plain strings, since every text asks for them many times."""

    LIST: Final = "list"
    USUAL: Final = "usual"
    NOW: Final = "now"
    FROM: Final = "from"
    UPTO: Final = "upto"
    SAVE: Final = "save"
    OFF: Final = "off"
    SHIP: Final = "ship"
    PLUS: Final = "plus"
    INSTALMENT: Final = "instalment"
    UNIT: Final = "unit"
    MEMBER: Final = "member"
    PRIOR: Final = "prior"
    PART: Final = "part"
    DEPOSIT: Final = "deposit"
    FREE: Final = "free"
    CART: Final = "cart"
    ORDER: Final = "order"
    TOTAL: Final = "total"
    GROSS: Final = "gross"
    NET: Final = "net"
    COLON: Final = ":"
    OPEN: Final = "("
    CLOSE: Final = ")"
    BREAK: Final = ","
    PERCENT: Final = "%"


_SIGNS: Final = {
    Mark.COLON: ":=",
    Mark.OPEN: "([",
    Mark.CLOSE: ")]",
    Mark.BREAK: ",;|/\u00b7\u2022",
    Mark.PERCENT: "%",
}
_WORD: Final = re.compile(
    r"[^\W\d_]+(?:['-][^\W\d_]+)*(?:&p)?"
    r"|30[- ](?:tage|days|dni|jours|dagen|giorni|días|dní|dagar|dage)[\w-]*"
    r"|\d+|[-+/=:()\[\],;|%&~\u00b7\u2022]"
)
_DOTTED: Final = re.compile(r"(?<![^\W_])(?:[^\W\d_]\.\s?){2,}")


class _Lexicon:
    """The word list, by first word, the longest phrases first."""

    def __init__(self) -> None:
        sections = {
            name: [entry.casefold() for entry in entries]
            for name, entries in read_sections("price_words.txt").items()
        }
        self.tax = frozenset(sections.pop("tax"))
        self.with_ = frozenset(sections.pop("tax before: with"))
        self.without = frozenset(sections.pop("tax before: without"))
        self.after_with = frozenset(sections.pop("tax after: with"))
        self.after_without = frozenset(sections.pop("tax after: without"))
        self.alone = dict.fromkeys(sections.pop("gross alone"), Mark.GROSS)
        self.alone |= dict.fromkeys(sections.pop("net alone"), Mark.NET)
        self.phrases: dict[str, list[tuple[tuple[str, ...], str]]] = {}
        for name, entries in sections.items():
            for entry in entries:
                self._add(tuple(entry.split()), name)
        for mark, signs in _SIGNS.items():
            for sign in signs:
                self._add((sign,), mark)
        for rows in self.phrases.values():
            rows.sort(key=lambda row: -len(row[0]))
        taxes = self.tax | self.with_ | self.without | {"s"}
        self.starts = taxes | self.alone.keys() | self.phrases.keys()

    def _add(self, phrase: tuple[str, ...], mark: str) -> None:
        self.phrases.setdefault(phrase[0], []).append((phrase, mark))


@cache
def _lexicon() -> _Lexicon:
    return _Lexicon()


class Said(NamedTuple):
    """A phrase found between two amounts; `at` counts words from the gap's start."""

    marks: tuple[str, ...]
    at: int
    last: bool

    def has(self, mark: str) -> bool:
        return mark in self.marks


def split_words(gap: str) -> list[str]:
    """The words and signs of a gap, folded; "U.V.P." becomes "uvp"."""
    folded = gap.casefold()
    if "." in folded:
        folded = _DOTTED.sub(lambda found: re.sub(r"[.\s]", "", found[0]) + " ", folded)
    return _WORD.findall(folded)


def _tax(words: list[str], at: int, known: _Lexicon) -> tuple[str, int] | None:
    """A tax note beginning at `at`: its mark and how many words it takes."""
    word = words[at]
    if word == "s" and words[at + 1 : at + 2] == ["/"]:
        return (Mark.NET, 3) if words[at + 2 : at + 3] == ["iva"] else None  # "s/ IVA": sem
    if word in known.with_ or word in known.without:
        for reach, following in enumerate(words[at + 1 : at + 7], 1):
            if word in known.with_ and following in known.without:
                return None  # "com desconto, sem IVA"
            if following in known.tax:
                return (Mark.GROSS if word in known.with_ else Mark.NET), reach + 1
        return None
    return _tax_after(words, at, known) if word in known.tax else None


def _tax_after(words: list[str], at: int, known: _Lexicon) -> tuple[str, int] | None:
    following = next(
        (word for word in words[at + 1 : at + 5] if word not in "()%:" and not word.isdigit()), ""
    )
    if following in {"no", "non", "not", "niet", "nicht"}:
        return Mark.NET, 3
    if following in known.after_without:
        return Mark.NET, 2
    return (Mark.GROSS, 2) if following in known.after_with else None


def _phrase(words: list[str], at: int, known: _Lexicon) -> tuple[tuple[str, ...], int]:
    """Every mark of the longest phrase at `at`, and its length in words."""
    alone = known.alone.get(words[at])
    if alone is not None:
        return (alone,), 1
    marks: list[str] = []
    length = 0
    for phrase, mark in known.phrases.get(words[at], ()):
        if len(phrase) < length:
            break
        if len(phrase) == 1 or tuple(words[at : at + len(phrase)]) == phrase:
            marks.append(mark)
            length = len(phrase)
    return tuple(marks), length


@lru_cache(maxsize=4096)  # the same words stand around many amounts
def read_gap(gap: str) -> tuple[Said, ...]:
    """What the text between two amounts (or before the first, after the last) says."""
    words, known = split_words(gap), _lexicon()
    said: list[Said] = []
    at = 0
    while at < len(words):
        if words[at] not in known.starts:
            at += 1
            continue
        tax = _tax(words, at, known)
        marks, length = ((tax[0],), tax[1]) if tax else _phrase(words, at, known)
        if marks:
            said.append(Said(marks, at, at + length >= len(words)))
        at += max(1, length)
    return tuple(said)
