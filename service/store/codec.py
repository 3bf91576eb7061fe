"""One codec between frozen dataclasses and plain JSON, driven by their type hints.

Decimal is text, timedelta seconds, date and datetime ISO 8601, an enum its
value. A field that equals an empty default is left out; an unknown field in
the data is an error, since it was written by a newer program.
"""

from __future__ import annotations

import dataclasses
import json
import types
import typing
from collections.abc import Callable, Hashable, Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from enum import Enum
from functools import cache, lru_cache
from typing import Any, Final, Literal, TypeVar

from service.errors import StoreError

T = TypeVar("T")
Coder = Callable[[Any], Any]
Pair = tuple[Coder, Coder]  # to data, from data

_EMPTY: Final[tuple[Any, ...]] = (None, "", (), {})


def dumps(value: Any) -> str:
    """A dataclass as canonical JSON text: equal values give equal text."""
    return _json(_coders_of(value)[0](value))


def loads(kind: type[T], text: str) -> T:
    """The dataclass back from its text. The same text gives the same (frozen) value."""
    return typing.cast("T", _loaded(typing.cast("Hashable", kind), text))


def loads_once(kind: type[T], text: str) -> T:
    """The same for what is large, or not soon wanted again: nothing is kept of it."""
    return typing.cast("T", _coders(typing.cast("Hashable", kind))[1](json.loads(text)))


def to_data(value: Any) -> Any:
    """A dataclass as plain data (dicts, lists, texts, numbers)."""
    return _coders_of(value)[0](value)


def _coders_of(value: Any) -> Pair:
    return _coders(typing.cast("Hashable", type(value)))


@lru_cache(maxsize=32_768)
def _loaded(kind: Any, text: str) -> Any:
    return _coders(kind)[1](json.loads(text))


def _json(data: Any) -> str:
    return json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


@cache
def _coders(hint: Any) -> Pair:
    """The two directions for a type hint. TypeError: a hint that the codec does not know."""
    if hint in _PLAIN:
        return _PLAIN[hint]
    if isinstance(hint, type) and issubclass(hint, Enum):
        return (lambda value: value.value), hint
    if dataclasses.is_dataclass(hint):
        return _dataclass(typing.cast("type", hint))
    return _generic(hint)


def _generic(hint: Any) -> Pair:
    origin, args = typing.get_origin(hint), typing.get_args(hint)
    if origin is Literal:
        return _same, _same
    if origin in (typing.Union, types.UnionType):
        return _optional(args)
    if origin is tuple:
        return _tuple(args)
    if origin in (Mapping, dict):
        return _mapping(args[1])
    raise TypeError(f"the codec has no form for {hint!r}")


def _optional(args: tuple[Any, ...]) -> Pair:
    inner = [arg for arg in args if arg is not type(None)]
    if len(inner) != 1:
        raise TypeError(f"the codec has no form for a choice of {args!r}")
    out, back = _coders(inner[0])
    return (
        lambda value: None if value is None else out(value),
        lambda data: None if data is None else back(data),
    )


def _tuple(args: tuple[Any, ...]) -> Pair:
    if len(args) == 2 and args[1] is Ellipsis:
        out, back = _coders(args[0])
        return (
            lambda value: [out(item) for item in value],
            lambda data: tuple(back(item) for item in data),
        )
    pairs = [_coders(arg) for arg in args]
    return (
        lambda value: [pair[0](item) for pair, item in zip(pairs, value, strict=True)],
        lambda data: tuple(pair[1](item) for pair, item in zip(pairs, data, strict=True)),
    )


def _mapping(item: Any) -> Pair:
    out, back = _coders(item)
    return (
        lambda value: {str(key): out(entry) for key, entry in value.items()},
        lambda data: {key: back(entry) for key, entry in data.items()},
    )


def _dataclass(kind: type) -> Pair:
    hints = typing.get_type_hints(kind)
    names = [f.name for f in dataclasses.fields(kind)]
    needless = {f.name: _empty_default(f) for f in dataclasses.fields(kind)}
    coders = {name: _coders(hints[name]) for name in names}
    made = {name: pair[1] for name, pair in coders.items() if pair[1] is not _same}

    def out(value: Any) -> dict[str, Any]:
        data = {}
        for name, (encode, _) in coders.items():
            held = getattr(value, name)
            default = needless[name]
            if type(held) is not type(default) or held != default:
                data[name] = encode(held)
        return data

    def back(data: Mapping[str, Any]) -> Any:
        if unknown := data.keys() - coders.keys():
            raise StoreError(
                f"the database holds {kind.__name__} with unknown {', '.join(sorted(unknown))}: "
                "it was written by a newer version of this program; upgrade"
            )
        held = dict(data)
        for name in made.keys() & held.keys():
            held[name] = made[name](held[name])
        return kind(**held)

    return out, back


_FULL: Final = object()  # equal to no value


def _empty_default(field: dataclasses.Field[Any]) -> Any:
    """The default where it is empty, so that later programs cannot mean another one by it."""
    default = {} if field.default_factory is dict else field.default
    return default if any(default is one or default == one for one in _EMPTY) else _FULL


def _same(value: Any) -> Any:
    return value


def _instant_text(value: datetime) -> str:
    return value.astimezone(UTC).isoformat()


def _one_text(value: Decimal) -> str:
    """75, 75.0 and 75.00 are one value and so one text: equal entries have equal JSON."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


_PLAIN: dict[Any, Pair] = {
    str: (_same, _same),
    int: (_same, _same),
    bool: (_same, _same),
    float: (_same, _same),
    Any: (_same, _same),
    Decimal: (_one_text, Decimal),
    timedelta: (timedelta.total_seconds, lambda data: timedelta(seconds=data)),
    datetime: (_instant_text, datetime.fromisoformat),
    date: (date.isoformat, date.fromisoformat),
}
