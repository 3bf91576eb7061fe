"""One form for equal books, so that what is loaded again is the same to the letter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal
from typing import Any, TypeVar

from service.exchange.catalogue.values import plain

T = TypeVar("T")


def canonical(item: T) -> T:
    """The same value with every Decimal in its shortest form and every mapping sorted."""
    made: Any = _canonical(item)
    found: T = made
    return found


def _canonical(item: Any) -> Any:
    if isinstance(item, Decimal):
        return Decimal(plain(item))
    if isinstance(item, tuple):
        return tuple(_canonical(one) for one in item)
    if isinstance(item, Mapping):
        return {key: _canonical(item[key]) for key in sorted(item)}
    if is_dataclass(item) and not isinstance(item, type):
        values = {field.name: getattr(item, field.name) for field in fields(item)}
        changed = {name: _canonical(value) for name, value in values.items() if _deep(value)}
        return replace(item, **changed)
    return item


def _deep(value: Any) -> bool:
    """Whether there may be something to change in it."""
    return isinstance(value, (Decimal, tuple, Mapping)) or is_dataclass(value)
