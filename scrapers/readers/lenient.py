"""JSON in pages: strict first, then one lenient pass; bounded in depth, honest about doubles."""

from __future__ import annotations

import html
import json
import re
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

MAX_DEPTH = 64
MAX_POWER = 40  # of ten
CONFLICT = "\x00conflict"  # key of an object that states one price key twice, differently
_PRICE_KEYS = frozenset({"price", "lowPrice", "highPrice", "priceCurrency"})
_TOKEN = re.compile(
    r'("(?:[^"\\]|\\.)*")'  # a string: kept as it is
    r"|//[^\n]*|/\*.*?\*/"  # comments: dropped
    r"|,(?=\s*[}\]])",  # trailing comma: dropped
    re.DOTALL,
)
_WRAP = re.compile(
    r"\A[\s;]*(?://\s*)?(?:<!\[CDATA\[|<!--|/\*\s*<!\[CDATA\[\s*\*/)|"
    r"(?:(?://\s*)?(?:\]\]>|-->)|/\*\s*\]\]>\s*\*/)[\s;]*\Z"
)
_BAD_ESCAPE = re.compile(r"\\(?![\"\\/bfnrtu])")
_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*"|[\[{\]}]')


class Parsed(NamedTuple):
    """Top-level values of a block; `lenient` if the text broke the JSON grammar."""

    values: tuple[Any, ...]
    lenient: bool = False
    refused: str | None = None


def _constant(name: str) -> str:
    return name  # NaN and Infinity: kept as words, so that a price of that name is doubted


def amount(text: str) -> Decimal | str:
    """A JSON number; one far beyond prices stays text: written out it may fill the memory."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        return text
    return value if -MAX_POWER < value.adjusted() < MAX_POWER else text


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        for key, value in pairs:
            if key in _PRICE_KEYS and made[key] != value:
                made[CONFLICT] = key
    return made


_STRICT = json.JSONDecoder(
    object_pairs_hook=_pairs, parse_float=amount, parse_constant=_constant, strict=False
)
_FAST = json.JSONDecoder(parse_float=amount, parse_constant=_constant, strict=False)


def too_deep(text: str, limit: int = MAX_DEPTH) -> bool:
    """Whether brackets nest deeper than `limit`; strings do not count."""
    if text.count("[") + text.count("{") <= limit:
        return False
    depth = 0
    for match in _BRACKETS.finditer(text):
        mark = match[0]
        if mark in "[{":
            depth += 1
            if depth > limit:
                return True
        elif mark in "]}":
            depth -= 1
    return False


def parse(text: str, *, watch_doubles: bool = True) -> Parsed:
    """Every top-level JSON value of a text block; nothing it holds can raise."""
    if too_deep(text):
        return Parsed((), refused="JSON nested too deep")
    decoder = _STRICT if watch_doubles else _FAST
    try:
        return Parsed((decoder.decode(text.strip().removeprefix("\ufeff")),))
    except (ValueError, RecursionError):
        pass
    return Parsed(_lenient(text, decoder), lenient=True)


def _lenient(text: str, decoder: json.JSONDecoder) -> tuple[Any, ...]:
    text = _WRAP.sub("", _WRAP.sub("", text.strip().removeprefix("\ufeff")))
    if "&quot;" in text or "&#34;" in text:
        text = html.unescape(text)
    text = _TOKEN.sub(lambda m: _BAD_ESCAPE.sub("", m[1]) if m[1] else "", text)
    return tuple(_all_values(text.strip().rstrip(";"), decoder))


def _all_values(text: str, decoder: json.JSONDecoder) -> list[Any]:
    values: list[Any] = []
    at = 0
    while at < len(text) and len(values) < 100:
        try:
            value, at = decoder.raw_decode(text, at)
        except (ValueError, RecursionError):
            break
        values.append(value)
        while at < len(text) and text[at] in " \t\r\n,;":
            at += 1
    return values
