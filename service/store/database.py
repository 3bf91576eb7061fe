"""Opening the database, and transactions over it.

SQLite: WAL, foreign keys, `synchronous=FULL`; writing transactions begin
IMMEDIATE, so that none fails half way because another wrote meanwhile; reading
ones see one snapshot and cannot write. PostgreSQL: the same promises by
REPEATABLE READ for readers.
"""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, Final, Self

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError

from service.errors import StoreError
from service.store.care import copy, problems
from service.store.schema import prepare
from service.store.unit import SqlUnit
from service.store.words import explain

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

    from service.store.columns import Columns, Memory
    from service.store.record import Known

BUSY_SECONDS: Final = 30
_HEADER: Final = b"SQLite format 3\x00"
_FORMS: Final = "write it like sqlite:///path/to/file.db or postgresql://user@host/name"


class SqlStore:
    """Store on a database that is open and of this program's schema."""

    def __init__(self, url: str, engine: Engine) -> None:
        """`url`: as opened, password included; messages show `place` instead."""
        self.url = url
        self.place = _place(engine.url)
        self.dialect = engine.dialect.name
        self.engine = engine
        self._known: Known = {}
        self._memory: Memory | None = None
        self._guard = Lock()

    @contextmanager
    def read(self) -> Iterator[SqlUnit]:
        """One snapshot; nothing can be written. StoreError: the database cannot be used."""
        with self._transaction(write=False) as conn:
            yield SqlUnit(conn, self._known)

    @contextmanager
    def write(self) -> Iterator[SqlUnit]:
        """Committed on leaving without an error, else undone. StoreError as for `read`."""
        with self._transaction(write=True) as conn:
            yield SqlUnit(conn, self._known)

    @contextmanager
    def _transaction(self, *, write: bool) -> Iterator[Connection]:
        with in_words(self.place), self.engine.connect() as conn:
            options = dict(_options(self.dialect, write=write))
            with conn.execution_options(**options).begin() as transaction:
                yield conn
                if not write:
                    transaction.rollback()

    def columns(self) -> Columns:
        """The whole price log as arrays, up to date: for questions over all listings."""
        from service.store.columns import Memory  # noqa: PLC0415 -- numpy costs start-up time

        with self._guard, self._transaction(write=False) as conn:
            self._memory = self._memory or Memory()
            return self._memory.fresh(conn)

    def problems(self) -> list[str]:
        """What is wrong with the data, a line each; reads all of it, so not at every start."""
        with self._transaction(write=False) as conn:
            return problems(conn)

    def backup(self, target: Path) -> None:
        """A whole and checked copy at `target`, also while others write. StoreError."""
        if self.dialect != "sqlite":
            raise StoreError(
                f"{self.place}: PostgreSQL makes its own backups: use pg_dump and pg_restore"
            )
        copy(Path(str(self.engine.url.database)), target)

    def close(self) -> None:
        """Close every connection; the store cannot be used afterwards."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def open_store(url: str, *, create: bool = True) -> SqlStore:
    """Open the database at `url`; make it where there is none, unless `create` is false.

    An older schema is brought up to date first (on SQLite after a copy was put
    beside the file). StoreError says what is wrong and what to do: another
    scheme, no such folder, not a database, another program's, of a newer
    version, not to be written to.
    """
    parsed = _parse(url)
    if parsed.get_backend_name() == "sqlite":
        _check_file(Path(parsed.database or ""), create=create)
    with in_words(_place(parsed)):
        engine = _engine(parsed)
        try:
            prepare(engine, _place(parsed), create=create)
        except BaseException:
            engine.dispose()
            raise
    return SqlStore(url, engine)


def _place(url: URL) -> str:
    """How messages name the database."""
    if url.get_backend_name() == "sqlite":
        return str(url.database)
    return url.render_as_string(hide_password=True)


@contextmanager
def in_words(place: str) -> Iterator[None]:
    """Errors of the database as StoreError, so that no one sees the driver's."""
    try:
        yield
    except IntegrityError as error:
        raise StoreError(f"{place}: the data contradict each other: {error.orig}") from error
    except DBAPIError as error:
        raise StoreError(explain(place, error)) from error


def _parse(url: str) -> URL:
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (ArgumentError, NoSuchModuleError):
        raise StoreError(f'"{url}" is not the address of a database: {_FORMS}') from None
    if backend not in {"sqlite", "postgresql"}:
        raise StoreError(f"a {backend} database cannot be used: {_FORMS}")
    if backend == "sqlite" and parsed.database in {None, "", ":memory:"}:
        raise StoreError(f"the database needs a file to live in: {_FORMS}")
    return parsed


def _check_file(path: Path, *, create: bool) -> None:
    if not path.parent.is_dir():
        raise StoreError(f"{path}: there is no folder {path.parent}: make it, or name another file")
    if path.is_dir():
        raise StoreError(f"{path} is a folder: name a file in it")
    if not path.exists():
        if not create:
            raise StoreError(f"{path}: there is no such database: check the path")
        return
    try:
        head = _head(path)
    except OSError as error:
        raise StoreError(f"{path} cannot be read: {error.strerror}") from None
    if head not in {b"", _HEADER}:
        raise StoreError(f"{path} is not a database: name another file; nothing was changed")


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        # The newest used first: of several connections one has the pages at hand, not each.
        engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS}, pool_use_lifo=True)
        event.listen(engine, "connect", _set_pragmas)
        event.listen(engine, "begin", _begin)
        return engine
    try:
        return create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    except ModuleNotFoundError:
        raise StoreError(
            "PostgreSQL needs its driver: install the extra with pip install 'ebbmark[postgres]'"
        ) from None


def _set_pragmas(connection: sqlite3.Connection, _record: Any) -> None:
    connection.isolation_level = None  # transactions begin where `_begin` says
    for pragma in (
        f"busy_timeout={BUSY_SECONDS * 1000}",
        "journal_mode=WAL",
        "foreign_keys=ON",
        "synchronous=FULL",
        "cache_size=-16000",  # KiB: all running spells of a large book stay at hand
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(conn: Connection) -> None:
    write = conn.get_execution_options().get("ebbmark_write", True)
    conn.exec_driver_sql(f"PRAGMA query_only={'OFF' if write else 'ON'}")
    conn.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


def _options(dialect: str, *, write: bool) -> Iterator[tuple[str, Any]]:
    yield "ebbmark_write", write
    if dialect == "postgresql" and not write:
        yield "isolation_level", "REPEATABLE READ"
        yield "postgresql_readonly", True


def _head(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(len(_HEADER))
