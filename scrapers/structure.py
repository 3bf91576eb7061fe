"""How deep a page nests, counted before the parse, whose time grows with the square of it.

One pass over the bytes, in numpy, since it runs before every parse: where tags begin,
which eight bytes follow, and from these an upper bound of the elements open at once.
"""

from __future__ import annotations

import re
import threading
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

MAX_DEPTH = 512
MAX_FORMATTING = 64
MAX_COPIES = 1_000_000  # elements: every block may hold a copy of each formatting one left open
MAX_ODD = 3_000  # tags with odd names; mostly "a<b" in scripts, so deep only by intent
MAX_KEYS = 50_000
_VOID = frozenset(
    [
        "area",
        "base",
        "br",
        "col",
        "embed",
        "hr",
        "img",
        "input",
        "link",
        "meta",
        "param",
        "source",
        "track",
        "wbr",
        "keygen",
        "frame",
    ]
)
# the parser ends these by itself; they add no depth of their own
_IMPLIED = frozenset(
    [
        "p",
        "li",
        "dt",
        "dd",
        "option",
        "optgroup",
        "tr",
        "td",
        "th",
        "thead",
        "tbody",
        "tfoot",
        "rp",
        "rt",
    ]
)
_FORMATTING = [
    "a",
    "b",
    "big",
    "code",
    "em",
    "font",
    "i",
    "nobr",
    "s",
    "small",
    "strike",
    "strong",
    "tt",
    "u",
]
_NAME = re.compile(rb"/?([a-z][a-z0-9:-]*)(?=([ \t\n\f\r/>])|$)|/?[^a-z]?")
_LONG_NAME = re.compile(rb"(/?)([a-z][a-z0-9:-]*)[ \t\n\f\r/>]")
_ODD, _LONG = 1 << 20, 1 << 21
_BITS = 14  # of a slot number in the table of tags seen
_SPREAD = np.uint64(0x9E3779B97F4A7C15)
_SHIFT = np.uint64(64 - _BITS)
_MAX_SHORT, _MAX_TINY = (1 << 15) - 1, (1 << 7) - 1
_ONES, _TOPS = np.uint64(0x0101010101010101), np.uint64(0x8080808080808080)
_ZERO = np.zeros(1, np.int64)
_ENDS = (_ONES * np.uint64(ord(" ")), _ONES * np.uint64(ord(">")))
FEW = 4
MAX_KEPT = 1 << 20  # bytes of a page for which room is kept
MAX_JOINED = 2_000_000_000  # bytes moved when text is joined: 0.3 s, 250 MB
# tags that may make no element, so that the text around them becomes one; with values only,
# as those take the room behind the text and it must move
_VALUED = re.compile(rb"<[/a-zA-Z][^>=]{0,400}=")
_NO_ELEMENT = re.compile(
    rb"<(?:html|body)[\s/]|</[a-z][^>=]{0,400}=|<(?:t[dhr]|tbody|thead|tfoot|caption|col|colgroup|frame|"
    rb"frameset|head|form|script|style|template)[\s/][^>=]{0,400}=|"
    rb"<input[\s/][^>]{0,400}?hidden",
    re.IGNORECASE,
)
_BLANK = re.compile(rb">([\s\x00]+)<")  # in a table such text is kept, elements move out of it
_FRAMES = re.compile(rb"<frameset", re.IGNORECASE)


class Structure(NamedTuple):
    """Deepest nesting and most formatting elements left open at once (upper bounds), tags."""

    depth: int
    formatting: int
    tags: int = 0

    @property
    def heavy(self) -> bool:
        many = self.formatting > MAX_FORMATTING or self.formatting * self.tags > MAX_COPIES
        return many or self.depth > MAX_DEPTH


class _Codes(dict[int, int]):
    """The eight bytes after "<" to a number: n opens, -n closes, 0 neither, or _ODD, _LONG."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: NDArray[np.uint64] = np.zeros(1 << _BITS, np.uint64)
        self.codes: NDArray[np.int32] = np.zeros(1 << _BITS, np.int32)
        self.names: dict[bytes, int] = {n.encode(): i for i, n in enumerate(_FORMATTING, 1)}

    def of(self, name: bytes) -> int:
        text = name.decode("latin-1")
        if text in _VOID or text in _IMPLIED:
            return 0
        return self.names.setdefault(name, len(self.names) + 1)

    def __missing__(self, key: int) -> int:
        code = self[key] = self._read(key.to_bytes(8, "little").lower())
        return code

    def _read(self, raw: bytes) -> int:
        closes = raw[:1] == b"/"
        if not raw[closes : closes + 1].isalpha():
            return 0
        found = _NAME.match(raw)
        if found is None or found[1] is None:
            return 0 if closes else _ODD
        if found[2] is None:
            return _LONG
        return -self.of(found[1]) if closes else self.of(found[1])

    def all(self, words: NDArray[np.uint64]) -> NDArray[np.int32]:
        """The codes of many tags: from the table where it has seen them, else name by name."""
        slots = ((words * _SPREAD) >> _SHIFT).view(np.int64)
        codes = self.codes.take(slots)
        new = (self.seen.take(slots) != words).nonzero()[0]
        if 0 < len(new) <= FEW:  # two tags that share a slot of the table
            codes[new] = [self[k] for k in words[new].tolist()]
        elif len(new):
            unseen, places = words[new], slots[new]
            keys, where = np.unique(_names_only(unseen), return_inverse=True)
            codes[new] = np.array([self[k] for k in keys.tolist()], np.int32)[where]
            self.seen[places] = unseen
            self.codes[places] = codes[new]
        return codes

    @property
    def full(self) -> bool:
        """A page sent nonsense: forget everything before the next."""
        return len(self) > MAX_KEYS or len(self.names) > MAX_KEYS


def _names_only(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """The words without what follows a blank or ">": the few names of a page, not its texts."""
    ends = np.zeros_like(words)
    for (
        mark
    ) in _ENDS:  # the highest bit of each byte that is the mark, by the usual zero-byte trick
        apart = words ^ mark
        ends |= (apart - _ONES) & ~apart & _TOPS
    lowest = ends & (~ends + np.uint64(1))
    return words & ((lowest << np.uint64(1)) - np.uint64(1))


class _Known(threading.local):
    """Each thread's own: a table that two write at once would mix up tags and codes."""

    def __init__(self) -> None:
        self.codes = _Codes()
        self._marks: NDArray[np.bool_] = np.empty(0, np.bool_)

    def starts(self, page: bytes) -> NDArray[np.intp]:
        """Where "<" stands; the room for the search is kept, new memory costs more than it."""
        if len(self._marks) < len(page):
            self._marks = np.empty(len(page) * 2, np.bool_)
        marks = self._marks[: len(page)]
        np.equal(np.frombuffer(page, np.uint8), ord("<"), out=marks)
        found = marks.nonzero()[0]
        if len(page) > MAX_KEPT:
            self._marks = np.empty(0, np.bool_)
        return found


_known = _Known()


def structure(page: bytes) -> Structure:
    """Upper bounds for a page in an ASCII-compatible encoding.

    A closing tag lowers the count only of its own open element, so stray ones cannot
    hide depth. Scripts are not skipped: what looks like one may be an attribute.
    """
    starts = _known.starts(page)
    if len(starts) == 0:
        return Structure(0, 0)
    codes_of = _known.codes
    if codes_of.full:
        codes_of = _known.codes = _Codes()
    padded = page + b"\0" * 16
    words: NDArray[np.uint64] = np.ndarray(
        shape=(len(padded) - 9,), dtype="<u8", buffer=padded, offset=1, strides=(1,)
    )
    codes = codes_of.all(words[starts])
    rare = (codes >= _ODD).nonzero()[0]
    if len(rare):
        odd = codes[rare] == _ODD
        if np.count_nonzero(odd) > MAX_ODD:
            return Structure(MAX_DEPTH + 1, 0)
        codes[rare[odd]] = 0
        for at in rare[~odd].tolist():
            codes[at] = _long(page[starts[at] + 1 : starts[at] + 60].lower(), codes_of)
    return _bounds(codes[codes != 0])._replace(tags=len(starts))


def joins(page: bytes, tags: int) -> bool:
    """Whether the parser may join so many pieces of text that its time grows with their square.

    HTML 13.2.6.1: a character goes into the text node right before its place, also where
    tags that make no element there stand between (HTML 13.2.6.4.7 to 13.2.6.4.20).
    """
    if tags * len(page) <= MAX_JOINED:
        return False
    whole = len(_NO_ELEMENT.findall(page)) * len(page)
    if whole > MAX_JOINED:
        return True
    valued = len(_VALUED.findall(page))
    blank = len(page) if _FRAMES.search(page) else sum(map(len, _BLANK.findall(page)))
    return whole + valued * blank > MAX_JOINED


def _long(raw: bytes, codes_of: _Codes) -> int:
    """A tag whose name is longer than eight bytes tell."""
    found = _LONG_NAME.match(raw)
    if found is None:
        return 0 if raw[:1] == b"/" else codes_of.of(raw[:60])
    return -codes_of.of(found[2]) if found[1] else codes_of.of(found[2])


def _bounds(codes: NDArray[np.int32]) -> Structure:
    """Depths out of a run of opening (n) and closing (-n) tags."""
    count = len(codes)
    if count == 0:
        return Structure(0, 0)
    names = np.abs(codes)
    highest = int(names.max())
    kind = np.int8 if highest <= _MAX_TINY else np.int16 if highest <= _MAX_SHORT else np.int32
    order = np.argsort(names.astype(kind), kind="stable")  # short numbers are sorted by radix
    signs = np.sign(codes).astype(np.int64)
    groups, total = names[order], signs[order].cumsum()
    last = np.concatenate(((groups[1:] != groups[:-1]).nonzero()[0], [count - 1]))
    tidy = int(total.min()) >= 0 and not total[last].any()  # every name opens before it closes
    kept = signs if tidy else _without_strays(signs, order, last, total)
    formatting = kept[names <= len(_FORMATTING)].cumsum()
    return Structure(int(kept.cumsum().max()), int(formatting.max(initial=0)))


def _without_strays(
    signs: NDArray[np.int64],
    order: NDArray[np.intp],
    last: NDArray[np.intp],
    total: NDArray[np.int64],
) -> NDArray[np.int64]:
    """The steps up and down without those that close what was never opened.

    `order` sorts the tags by name, `last` is where each name's run ends there, `total` the
    running sum there.
    """
    steps, count = signs[order], len(signs)
    first = np.concatenate((_ZERO, last[:-1] + 1))
    sizes = np.diff(last, prepend=-1)
    # groups far apart, so that one running minimum serves all
    far = np.arange(len(first)) * (2 * count + 2)
    base = np.concatenate((_ZERO, total[last[:-1]]))
    lowest = np.minimum.accumulate(total - (base + far).repeat(sizes))
    lowest = np.minimum(lowest + far.repeat(sizes), 0)
    before = np.concatenate((_ZERO, lowest[:-1]))
    before[first] = 0
    steps[(steps < 0) & (lowest < before)] = 0
    kept = np.empty_like(steps)
    kept[order] = steps
    return kept
