"""The whole book at once: put a backup back, or carry it into another database."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sqlalchemy import Connection, Table, func, insert, make_url, select, text
from sqlalchemy.exc import ArgumentError

from service.errors import InputError, StoreError
from service.store import tables
from service.store.care import copy
from service.store.database import SqlStore, in_words, open_store
from service.store.schema import VERSION_TABLE, VERSIONS

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

_BATCH: Final = 5_000  # rows that are carried at a time
_LOCKED_MS: Final = 2_000  # how long a restore waits for the last reader to finish
_LEASES: Final = {  # of processes that work on the old database
    tables.host: {"owner": None, "until": None},
    tables.notice: {"owner": None, "until": None},
}
# A host that asked for time, or had its visit a moment ago, keeps its pause over a restore.
_KEEP_PACE: Final = """UPDATE host SET
    token = token + (SELECT coalesce(max(old.token), 0) FROM was.host old
                     WHERE old.host = host.host),
    owner = NULL, until = NULL,
    next_allowed_at = (SELECT max(old.next_allowed_at, coalesce(host.next_allowed_at, 0))
                       FROM was.host old WHERE old.host = host.host)
    WHERE EXISTS (SELECT 1 FROM was.host old
                  WHERE old.host = host.host AND old.next_allowed_at IS NOT NULL)"""


def restore(backup: Path, url: str, moment: datetime) -> Path | None:
    """Make `backup` the book at `url`; where the book until now was put, None if there was none.

    The backup is checked before anything changes, the present book is kept
    beside the new one under the name of the `moment`, and hosts keep the pause
    that they had. InputError, StoreError: what is wrong; nothing was changed.
    """
    book = _file(url)
    _check_backup(backup)
    if not book.parent.is_dir():
        raise StoreError(f"{book}: there is no folder {book.parent}: make it, or name another file")
    aside = _set_aside(book, moment) if book.exists() else None
    copy(backup, book)
    if aside is not None:
        _keep_pace(book, aside)
    return aside


def _file(url: str) -> Path:
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise StoreError(f'"{url}" is not the address of a database') from None
    if parsed.get_backend_name() != "sqlite" or not parsed.database:
        raise StoreError(f"{parsed.render_as_string()}: PostgreSQL restores with pg_restore")
    return Path(parsed.database)


def _check_backup(backup: Path) -> None:
    """InputError unless it is a whole book that this program can read."""
    if not backup.is_file():
        raise InputError(f"{backup}: there is no such file")
    try:
        with closing(sqlite3.connect(f"{backup.resolve().as_uri()}?mode=ro", uri=True)) as held:
            said = held.execute("PRAGMA integrity_check(1)").fetchone()[0]
            found = held.execute(f"SELECT version_num FROM {VERSION_TABLE}").fetchone()
    except sqlite3.Error as error:
        raise InputError(f"{backup} is not a backup of a book ({error}); nothing changed") from None
    if said != "ok":
        raise InputError(f"{backup} is damaged ({said}): take another; nothing was changed")
    if found is None or found[0] not in VERSIONS:
        raise InputError(f"{backup} was made by a newer program: upgrade first; nothing changed")


def _set_aside(book: Path, moment: datetime) -> Path:
    """A copy of the present book, which nobody else may have open."""
    aside = book.with_name(f"{book.name}.before-{moment.strftime('%Y%m%dT%H%M%SZ')}.backup")
    try:
        with closing(sqlite3.connect(book, timeout=_LOCKED_MS / 1000)) as held:
            # leaves WAL only where no other connection is open
            held.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.OperationalError as error:
        raise StoreError(
            f"{book} is in use ({error}): stop the other `ebbmark` first; nothing was changed"
        ) from None
    except sqlite3.DatabaseError:
        book.rename(aside)  # damaged, which is why a backup is put back
        return aside
    copy(book, aside)
    return aside


def _keep_pace(book: Path, aside: Path) -> None:
    with closing(sqlite3.connect(book)) as held:
        try:
            held.execute("ATTACH ? AS was", (str(aside),))
            with held:
                held.execute(_KEEP_PACE)
        except sqlite3.DatabaseError:
            return  # the old one is damaged or of another version: nothing to take over


def carry(
    source: SqlStore, url: str, tell: Callable[[str, int], None] = lambda _table, _rows: None
) -> dict[str, int]:
    """Copy the whole book into the empty database at `url`; rows by table.

    One snapshot of the source, one transaction on the target: all or nothing.
    `tell` hears of each table that is done. The source stays as it is.
    StoreError: the target cannot be used, or is not empty.
    """
    with open_store(url) as target:
        if target.engine.url == source.engine.url:
            raise InputError("that is the database the book is in already: name another one")
        _check_empty(target)
        with in_words(source.place), source.engine.connect() as held:
            given = held.execution_options(**_reading(source))
            with in_words(target.place), target.engine.begin() as taken, given.begin():
                return {
                    table.name: _table(given, taken, table, tell)
                    for table in tables.metadata.sorted_tables
                }


def _reading(source: SqlStore) -> dict[str, object]:
    if source.dialect == "postgresql":
        return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    return {"ebbmark_write": False}


def _check_empty(target: SqlStore) -> None:
    with target.engine.connect() as conn:
        for table in (tables.supplier, tables.part, tables.listing, tables.build):
            if conn.scalar(select(func.count()).select_from(table)):
                raise StoreError(
                    f"{target.place} holds a book already ({table.name}s): name an empty "
                    "database; nothing was changed"
                )


def _table(
    given: Connection, taken: Connection, table: Table, tell: Callable[[str, int], None]
) -> int:
    taken.execute(table.delete())  # what a new database begins with
    rows = 0
    free = _LEASES.get(table, {})
    found = given.execution_options(yield_per=_BATCH).execute(select(table))
    for part in found.mappings().partitions(_BATCH):
        taken.execute(insert(table), [{**row, **free} for row in part])
        rows += len(part)
    _count_on(taken, table)
    tell(table.name, rows)
    return rows


def _count_on(taken: Connection, table: Table) -> None:
    """PostgreSQL gives out the next row number from a counter of its own."""
    key = table.autoincrement_column
    if taken.dialect.name != "postgresql" or key is None:
        return
    taken.execute(
        text(
            "SELECT setval(pg_get_serial_sequence(:table, :key), "
            f"greatest(1, (SELECT coalesce(max({key.name}), 0) FROM {table.name})))"
        ),
        {"table": table.name, "key": key.name},
    )
