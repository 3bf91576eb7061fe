"""One table of a catalogue file: reads its keys, collects every problem with its place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from service.errors import InputError
from service.exchange.catalogue.values import Read, T, nearest


@dataclass(frozen=True, slots=True)
class Problems:
    """Everything found wrong, as `FILE: KEY PATH: what is wrong; what to do`."""

    found: list[str] = field(default_factory=list)

    def add(self, where: str, what: str) -> None:
        """`where` is `FILE: KEY PATH`."""
        self.found.append(f"{where}: {what}")

    def raise_if_any(self) -> None:
        """InputError with all of them, each once."""
        if self.found:
            raise InputError(list(dict.fromkeys(self.found)))


class Table:
    """A TOML table with its place. Keys that nobody asked for are errors at `done`."""

    def __init__(self, data: Any, file: str, path: str, problems: Problems) -> None:
        self.file, self.path, self.problems = file, path, problems
        self._asked: set[str] = set()
        self.data: Mapping[str, Any] = {}
        if isinstance(data, Mapping):
            self.data = data
        else:
            self.problem("must be a table of keys; write { key = ... }")

    @property
    def where(self) -> str:
        """`FILE: KEY PATH`."""
        return f"{self.file}: {self.path}" if self.path else self.file

    def place(self, key: str) -> str:
        """Where a key of this table stands."""
        return f"{self.file}: {self.path}.{key}" if self.path else f"{self.file}: {key}"

    def problem(self, what: str, key: str = "") -> None:
        """Note what is wrong with `key`, or with the whole table."""
        self.problems.add(self.place(key) if key else self.where, what)

    def has(self, *keys: str) -> list[str]:
        """Which of `keys` are written here; they count as asked for."""
        self._asked.update(keys)
        return [key for key in keys if key in self.data]

    def get(self, key: str, read: Read[T], instead: T) -> T:
        """The value of `key`, or `instead` where it is absent or wrong (then noted)."""
        found = self._read(key, read)
        return found[0] if found else instead

    def maybe(self, key: str, read: Read[T]) -> T | None:
        """The value of `key`, or None where it is absent or wrong (then noted)."""
        found = self._read(key, read)
        return found[0] if found else None

    def need(self, key: str, read: Read[T], instead: T, hint: str) -> T:
        """Like `get`, but an absent key is a problem, with `hint` saying what to write."""
        if not self.has(key):
            self.problem(f"missing; {hint}", key)
        return self.get(key, read, instead)

    def each(self, key: str, read: Read[T]) -> tuple[T, ...]:
        """A list of values; a lone value counts as a list of one."""
        if not self.has(key):
            return ()
        raw = self.data[key]
        items = raw if isinstance(raw, list) else [raw]
        found: list[T] = []
        for place, item in enumerate(items, 1):
            try:
                found.append(read(item))
            except InputError as error:
                self.problem(error.problems[0], f"{key}[{place}]" if len(items) > 1 else key)
        return tuple(found)

    def table(self, key: str) -> Table:
        """The table under `key`; empty where absent."""
        self.has(key)
        return Table(self.data.get(key, {}), self.file, self._path(key), self.problems)

    def tables(self, key: str) -> Iterator[Table]:
        """The tables in the list under `key`, numbered from 1."""
        if not self.has(key):
            return
        raw = self.data[key]
        if not isinstance(raw, list):
            self.problem("must be a list of tables; write [ { ... } ]", key)
            return
        for place, item in enumerate(raw, 1):
            yield Table(item, self.file, f"{self._path(key)}[{place}]", self.problems)

    def named(self, key: str) -> Iterator[tuple[str, Table]]:
        """The tables under the names in `key`: `[part.NAME]`."""
        inner = self.table(key)
        for name in inner.data:
            yield name, inner.table(name)

    def texts(self, key: str, read: Read[str], names: tuple[str, ...] = ()) -> dict[str, str]:
        """A table of `name = value`; only `names` where given."""
        inner = self.table(key)
        found = {}
        for name in names or tuple(inner.data):
            value = inner.maybe(name, read)
            if value is not None:
                found[name] = value
        inner.done()
        return found

    def only_one(self, keys: tuple[str, ...], hint: str) -> str | None:
        """The one of `keys` that is written; a problem where there is none or several."""
        written = self.has(*keys)
        if len(written) == 1:
            return written[0]
        listed = ", ".join(keys)
        if written:
            self.problem(f"has {' and '.join(written)}; keep exactly one of {listed}")
        else:
            self.problem(f"has none of {listed}; {hint}")
        return None

    def done(self) -> None:
        """Note the keys that nobody asked for, with the nearest known one."""
        for key in self.data:
            if key not in self._asked:
                listed = ", ".join(sorted(self._asked))
                hint = nearest(key, self._asked) or f"; known here: {listed}"
                self.problem(f"unknown key{hint}", key)

    def _read(self, key: str, read: Read[T]) -> tuple[T] | None:
        if not self.has(key):
            return None
        try:
            return (read(self.data[key]),)
        except InputError as error:
            for what in error.problems:
                self.problem(what, key)
        return None

    def _path(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key
