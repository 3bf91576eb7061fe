"""State that a page carries for its scripts, as plain values: JSON and what packs it."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Collection
from itertools import islice
from typing import Any

from scrapers.readers.dom import Doc
from scrapers.readers.lenient import amount, parse

MAX_SCRIPT = 1 << 20
MAX_CELLS = 20_000
MAX_ISLANDS = 60
MAX_DEPTH = 40
_ASSIGN = re.compile(r"(?:=|\(|:)\s*(?=[{\[])")
_QUOTED = re.compile(r"""JSON\.parse\(\s*("(?:[^"\\]|\\.)*+"|'(?:[^'\\]|\\.)*+')\s*\)""", re.DOTALL)
_ATTRIBUTE = re.compile(r"""="(\{&quot;[^"<>]{20,200000})"|='(\{"[^'<>]{20,200000})'""")
_PUSHED = re.compile(r'\.push\(\[\s*1\s*,\s*("(?:[^"\\]|\\.)*+")', re.DOTALL)
_ROW = re.compile(r"^([0-9a-f]{1,6}):(?=[\[{])(.*)$", re.MULTILINE)
_MARKS = {"&q;": '"', "&s;": "'", "&l;": "<", "&g;": ">", "&a;": "&"}
_MARK = re.compile("|".join(_MARKS))
_BOXES = frozenset(
    {"Reactive", "ShallowReactive", "Ref", "ShallowRef", "EmptyRef", "EmptyShallowRef", "Date"}
)
_DECODER = json.JSONDecoder(parse_float=amount, strict=False)


def roots(doc: Doc, words: Collection[str] = ()) -> list[tuple[str, Any]]:
    """JSON values of the scripts and islands that mention a price, with a name for each.

    `words`: scripts with none of them are left out.
    """
    found: list[tuple[str, Any]] = []
    budget = MAX_SCRIPT * 2
    for n, node, text in doc.priced_scripts():
        if words and not any(word in text for word in words):
            continue
        budget -= len(text)
        if budget < 0:
            break
        if len(text) > MAX_SCRIPT:
            continue
        name = node.attributes.get("id") or f"script[{n}]"
        found += [(name, v) for v in _values(text)]
    return found + _flight(doc) + _islands(doc) + _attributes(doc)


def _values(text: str) -> list[Any]:
    start = text.lstrip()[:4]
    if start == "{&q;":  # transfer state, whose quotes are escaped in a way of its own
        text = _MARK.sub(lambda m: _MARKS[m[0]], text)
    if start[:1] not in ("{", "["):
        return _assigned(text)
    made = list(parse(text, watch_doubles=False).values)
    return [_unfolded(v) if is_folded(v) else v for v in made]


def _assigned(text: str) -> list[Any]:
    """Object literals that happen to be JSON, at most eight a script."""
    found: list[Any] = [v for m in _QUOTED.finditer(text) for v in _quoted(m[1])][:8]
    at = 0
    for _ in range(60):
        start = _ASSIGN.search(text, at)
        if start is None or len(found) >= 8:
            break
        try:
            value, at = _DECODER.raw_decode(text, start.end())
        except (ValueError, RecursionError):
            at = start.end()
            continue
        if value:
            found.append(value)
    short = "ecommerce" in text and len(text) <= MAX_PUSHED
    if short and not any("price" in str(v) for v in found):
        found += _pushed(text)
    return found


MAX_PUSHED = 20_000
_PUSH = re.compile(r"\bpush\(\s*(?=\{)|\bdataLayer\s*=\s*(?=\[)")
_LITERAL = re.compile(
    r"""'((?:[^'\\]|\\.)*+)'|("(?:[^"\\]|\\.)*+")|([{,]\s*)([A-Za-z_$][\w$]*)\s*:|,\s*(?=[}\]])"""
)


def _pushed(text: str) -> list[Any]:
    """Object literals pushed for those who count visitors, in the script's own quotes."""
    found: list[Any] = []
    for start in islice(_PUSH.finditer(text), 8):
        plain = _LITERAL.sub(_as_json, text[start.end() :])
        try:
            found.append(_DECODER.raw_decode(plain)[0])
        except (ValueError, RecursionError):
            continue
    return found


def _as_json(found: re.Match[str]) -> str:
    single, double, before, key = found.groups()
    if single is not None:
        return json.dumps(single.replace("\\'", "'"), ensure_ascii=False)
    return double or (f'{before}"{key}":' if key else "")


def _quoted(literal: str) -> list[Any]:
    """The values of JSON that stands in a string literal of a script."""
    inner = literal[1:-1]
    if literal[0] == "'":
        inner = inner.replace("\\'", "'").replace('"', '\\"').replace('\\\\"', '\\"')
    try:
        text = json.loads(f'"{inner}"', strict=False)
    except ValueError:
        return []
    return list(parse(text, watch_doubles=False).values) if "rice" in text else []


def _flight(doc: Doc) -> list[tuple[str, Any]]:
    """Rows of component data pushed as pieces of one text: "5:[...]" a line."""
    if "__next_f" not in doc.html:
        return []
    pieces: list[str] = []
    for node in doc.scripts[:300]:
        text = doc.script_text(node)
        if "__next_f" in text and len(text) <= MAX_SCRIPT:
            for match in _PUSHED.finditer(text):
                try:
                    pieces.append(str(json.loads(match[1], strict=False)))
                except ValueError:
                    continue
    found: list[tuple[str, Any]] = []
    for match in islice(_ROW.finditer("".join(pieces)[:MAX_SCRIPT]), MAX_CELLS):
        if "rice" in match[2]:
            found += [(f"flight[{match[1]}]", v) for v in _first(match[2])]
    return found


def _first(text: str) -> list[Any]:
    try:
        return [_DECODER.raw_decode(text)[0]]
    except (ValueError, RecursionError):
        return []


def is_folded(value: Any) -> bool:
    """A list of cells that name each other by number (the form of the npm package devalue)."""
    if not isinstance(value, list) or not 2 <= len(value) <= MAX_CELLS:
        return False
    head = value[0]
    if isinstance(head, list) and len(head) == 2 and head[0] in _BOXES:
        return True
    return (
        isinstance(head, dict)
        and bool(head)
        and all(isinstance(n, int) and -7 < n < len(value) for n in head.values())
    )


def _unfolded(cells: list[Any]) -> Any:
    """The first cell with every number replaced by the cell it names; each cell made once."""
    made: dict[int, Any] = {}
    budget = [MAX_CELLS]

    def cell(number: Any, depth: int) -> Any:
        if not isinstance(number, int) or not 0 <= number < len(cells):
            return None  # negative numbers stand for undefined, NaN ...
        if number in made:
            return made[number]
        budget[0] -= 1
        if depth > MAX_DEPTH or budget[0] < 0:
            return None
        made[number] = None  # a cell that holds itself ends here
        made[number] = filled(cells[number], depth + 1)
        return made[number]

    def filled(value: Any, depth: int) -> Any:
        if isinstance(value, dict):
            return {k: cell(n, depth) for k, n in value.items()}
        if not isinstance(value, list):
            return value
        if value and isinstance(value[0], str):
            return cell(value[1], depth) if len(value) > 1 and value[0] in _BOXES else None
        return [cell(n, depth) for n in value[:500]]

    return cell(0, 0)


def _attributes(doc: Doc) -> list[tuple[str, Any]]:
    """Objects that components get in an attribute of any name."""
    found: list[tuple[str, Any]] = []
    for n, match in enumerate(islice(_ATTRIBUTE.finditer(doc.html), MAX_ISLANDS)):
        raw = html.unescape(match[1]) if match[1] else match[2]
        if "rice" in raw:
            found += [(f"attribute[{n}]", v) for v in parse(raw, watch_doubles=False).values]
    return found


def _islands(doc: Doc) -> list[tuple[str, Any]]:
    """Props of islands: each value in a pair of its kind (0 plain, 1 list) and itself."""
    found: list[tuple[str, Any]] = []
    for n, node in enumerate(doc.islands[:MAX_ISLANDS]):
        raw = node.attributes.get("props") or ""
        if "rice" in raw and len(raw) <= MAX_SCRIPT:
            held = parse(raw, watch_doubles=False).values
            found += [(f"island[{n}]", {k: _plain(x, 0) for k, x in v.items()})
                      for v in held if isinstance(v, dict)]  # fmt: skip
    return found


def _plain(pair: Any, depth: int) -> Any:
    if not isinstance(pair, list) or len(pair) != 2 or depth > MAX_DEPTH:
        return None
    kind, value = pair
    if kind == 1 and isinstance(value, list):
        return [_plain(v, depth + 1) for v in value[:500]]
    if isinstance(value, dict):
        return {k: _plain(v, depth + 1) for k, v in value.items()}
    return value
