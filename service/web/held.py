"""What a person has looked at and not yet kept: in memory, for half an hour, at most so much."""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict
from typing import Generic, TypeVar

from service.errors import InputError

T = TypeVar("T")
KEPT, KEEP_FOR = 100, 1800.0  # things, seconds


class Held(Generic[T]):
    """Things by a name that nobody can guess."""

    def __init__(self, too_late: str) -> None:
        self._too_late = too_late
        self._kept: OrderedDict[str, tuple[float, T]] = OrderedDict()

    def put(self, thing: T, name: str | None = None) -> str:
        """Under a new name, or in place of what has this one."""
        name = name or secrets.token_urlsafe(16)
        self._kept[name] = (time.monotonic(), thing)
        self._kept.move_to_end(name)
        while len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        return name

    def get(self, name: str) -> T:
        """InputError where it is no longer there."""
        found = self._kept.get(name)
        if found is None or time.monotonic() - found[0] > KEEP_FOR:
            raise InputError(self._too_late)
        return found[1]
