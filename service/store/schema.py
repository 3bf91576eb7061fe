"""The schema's version: made new, brought up to date, or refused.

A new database is made from the tables at once and marked with the newest
version. Alembic is loaded only where an older one has to be changed.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, inspect

from service.errors import StoreError
from service.store import tables
from service.store.care import copy

VERSION_TABLE: Final = "ebbmark_version"
VERSIONS: Final = ("0001", "0002")  # oldest first; each is a file in migrations/versions
NEWEST: Final = VERSIONS[-1]


def prepare(engine: Engine, place: str, *, create: bool) -> None:
    """See that the database is of the newest version. StoreError says why it cannot be."""
    with engine.connect() as conn:
        found = version(conn)
        conn.rollback()
        if found is None:
            _make(conn, place, create=create)
        elif found != NEWEST:
            _update(conn, place, found)


def version(conn: Connection) -> str | None:
    """The version of the schema; None where there is none of ours."""
    if not inspect(conn).has_table(VERSION_TABLE):
        return None
    row = conn.exec_driver_sql(f"SELECT version_num FROM {VERSION_TABLE}").first()
    return None if row is None else str(row[0])


def _make(conn: Connection, place: str, *, create: bool) -> None:
    with conn.begin():
        if conn.dialect.name == "postgresql":
            conn.exec_driver_sql("SELECT pg_advisory_xact_lock(7402518849)")
        if version(conn) is not None:  # another process was quicker
            return
        if others := inspect(conn).get_table_names():
            raise StoreError(
                f"{place} belongs to another program (it has the table {others[0]}): "
                "name another database; nothing was changed"
            )
        if not create:
            raise StoreError(f"{place} is empty: load a catalogue into it first")
        tables.metadata.create_all(conn, checkfirst=False)
        _mark(conn)


def _mark(conn: Connection) -> None:
    conn.exec_driver_sql(
        f"CREATE TABLE {VERSION_TABLE} (version_num VARCHAR(32) NOT NULL, "
        f"CONSTRAINT pk_{VERSION_TABLE} PRIMARY KEY (version_num))"
    )
    conn.exec_driver_sql(f"INSERT INTO {VERSION_TABLE} VALUES ('{NEWEST}')")
    conn.exec_driver_sql("INSERT INTO log_version (id, version, rebuilt) VALUES (1, 0, 0)")


def _update(conn: Connection, place: str, found: str) -> None:
    if found not in VERSIONS:
        raise StoreError(
            f"{place} is of schema version {found}, this program knows up to {NEWEST}: "
            "upgrade the program (or restore a backup made with it); nothing was changed"
        )
    from service.store.migrate import upgrade  # noqa: PLC0415 -- Alembic costs start-up time

    _copy_aside(conn, found)
    upgrade(conn)


def _copy_aside(conn: Connection, found: str) -> None:
    """A whole copy of a SQLite file before its schema changes."""
    if conn.dialect.name != "sqlite" or not conn.engine.url.database:
        return
    path = Path(conn.engine.url.database)
    moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    copy(path, path.with_name(f"{path.name}.v{found}-{moment}.backup"))
