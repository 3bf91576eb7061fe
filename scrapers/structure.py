"""How deep a page nests, counted before the parse, whose time grows with the square of it.

One pass over the bytes, in numpy, since it runs before every parse: where tags begin,
which eight bytes follow, and from these an upper bound of the elements open at once.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

MAX_DEPTH = 512
MAX_FORMATTING = 64
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


class Structure(NamedTuple):
    """Deepest nesting and most formatting elements left open at once (upper bounds)."""

    depth: int
    formatting: int

    @property
    def heavy(self) -> bool:
        return self.depth > MAX_DEPTH or self.formatting > MAX_FORMATTING


class _Codes(dict[int, int]):
    """The eight bytes after "<" to a number: n opens, -n closes, 0 neither, or _ODD, _LONG."""

    def __init__(self) -> None:
        super().__init__()
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

    @property
    def full(self) -> bool:
        """A page sent nonsense: forget everything before the next."""
        return len(self) > MAX_KEYS or len(self.names) > MAX_KEYS


_known = [_Codes()]


def structure(page: bytes) -> Structure:
    """Upper bounds for a page in an ASCII-compatible encoding.

    A closing tag lowers the count only of its own open element, so stray ones cannot
    hide depth. Scripts are not skipped: what looks like one may be an attribute.
    """
    starts = np.flatnonzero(np.frombuffer(page, np.uint8) == ord("<"))
    if len(starts) == 0:
        return Structure(0, 0)
    codes_of = _known[0]
    if codes_of.full:
        codes_of = _known[0] = _Codes()
    padded = page + b"\0" * 16
    words: NDArray[np.uint64] = np.ndarray(
        shape=(len(padded) - 8,), dtype="<u8", buffer=padded, strides=(1,)
    )
    keys, where = np.unique(words[starts + 1], return_inverse=True)
    codes = np.array([codes_of[k] for k in keys.tolist()], np.int64)[where]
    if int((codes == _ODD).sum()) > MAX_ODD:
        return Structure(MAX_DEPTH + 1, 0)
    codes[codes == _ODD] = 0
    for at in np.flatnonzero(codes == _LONG).tolist():
        codes[at] = _long(page[starts[at] + 1 : starts[at] + 60].lower(), codes_of)
    return _bounds(codes[codes != 0])


def _long(raw: bytes, codes_of: _Codes) -> int:
    """A tag whose name is longer than eight bytes tell."""
    found = _LONG_NAME.match(raw)
    if found is None:
        return 0 if raw[:1] == b"/" else codes_of.of(raw[:60])
    return -codes_of.of(found[2]) if found[1] else codes_of.of(found[2])


def _bounds(codes: NDArray[np.int64]) -> Structure:
    """Depths out of a run of opening (n) and closing (-n) tags."""
    if len(codes) == 0:
        return Structure(0, 0)
    names = np.abs(codes)
    order = np.argsort(names, kind="stable")
    steps, groups = np.sign(codes)[order], names[order]
    first = np.flatnonzero(np.r_[True, groups[1:] != groups[:-1]])
    number = np.cumsum(np.r_[0, groups[1:] != groups[:-1]])
    total = np.cumsum(steps)
    local = total - np.r_[0, total[first[1:] - 1]][number]
    far = number * (2 * len(codes) + 2)  # a group apart, so that one running minimum serves all
    lowest = np.minimum(np.minimum.accumulate(local - far) + far, 0)
    before = np.r_[0, lowest[:-1]]
    before[first] = 0
    steps[(steps < 0) & (lowest < before)] = 0  # closes what was never opened
    kept = np.empty_like(steps)
    kept[order] = steps
    formatting = np.cumsum(np.where(names <= len(_FORMATTING), kept, 0))
    return Structure(int(np.cumsum(kept).max()), int(formatting.max()))
