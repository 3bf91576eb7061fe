"""TOML text from plain values: the few forms that a catalogue needs, in the order given."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, Final

_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_NAMED: Final = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def text(value: str) -> str:
    """A basic string (TOML 1.0 "String"): everything that must be is escaped."""
    return f'"{"".join(_sign(sign) for sign in value)}"'


def _sign(sign: str) -> str:
    if sign in _NAMED:
        return _NAMED[sign]
    return f"\\u{ord(sign):04X}" if sign < " " or sign == "\x7f" else sign


def key(name: str) -> str:
    """A bare key where it may be one, else a quoted one."""
    return name if _BARE.fullmatch(name) else text(name)


def value(item: Any) -> str:
    """A value; a list of tables takes a line for each, anything else one line."""
    if isinstance(item, (list, tuple)) and item and isinstance(item[0], Mapping):
        return "[\n" + "".join(f"  {flat(one)},\n" for one in item) + "]"
    return flat(item)


def flat(item: Any) -> str:
    """A value on one line."""
    if isinstance(item, bool):
        return str(item).lower()
    if isinstance(item, str):
        return text(item)
    if isinstance(item, date):
        return item.isoformat()
    if isinstance(item, (int, Decimal)):
        return f"{item:f}" if isinstance(item, Decimal) else str(item)
    if isinstance(item, Mapping):
        inner = ", ".join(f"{key(name)} = {flat(one)}" for name, one in item.items())
        return f"{{ {inner} }}" if inner else "{}"
    return f"[{', '.join(flat(one) for one in item)}]"


def table(header: str, content: Mapping[str, Any]) -> str:
    """A header line and one line for each key."""
    lines = (f"{key(name)} = {value(item)}\n" for name, item in content.items())
    return "".join([f"{header}\n", *lines])


def line(name: str, item: Any) -> str:
    """A key of the whole file, before its tables."""
    return f"{key(name)} = {value(item)}\n"
