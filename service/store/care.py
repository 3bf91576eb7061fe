"""Looking after the database: is it whole, and a copy of it that is."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

from service.errors import StoreError

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Connection

_SHOWN: Final = 10

# Spells of one listing that overlap, and running ones that begin before a finished one ends.
_OVERLAPS: Final = """SELECT a.listing FROM spell a JOIN spell b
    ON b.listing = a.listing AND b.first_seen > a.first_seen AND b.first_seen <= a.last_seen
    UNION SELECT a.listing FROM spell a JOIN running r
    ON r.listing = a.listing AND r.first_seen <= a.last_seen"""


def problems(conn: Connection) -> list[str]:
    """What is wrong with the data, a line each, with what to do; empty where nothing is."""
    found = [
        f"listing {row[0]}: spells overlap; please report this"
        for row in conn.exec_driver_sql(_OVERLAPS)
    ]
    if conn.dialect.name == "sqlite":
        found += _damage(conn)
    return found


def _damage(conn: Connection) -> list[str]:
    said = [str(row[0]) for row in conn.exec_driver_sql(f"PRAGMA integrity_check({_SHOWN})")]
    found = [f"the file is damaged ({line}): restore the last backup" for line in said]
    if said == ["ok"]:
        found = []
    broken = conn.exec_driver_sql("PRAGMA foreign_key_check").all()
    found += [
        f"table {row[0]}, row {row[1]}: the {row[2]} that it names is not there: "
        "restore the last backup"
        for row in broken[:_SHOWN]
    ]
    return found


def copy(source: Path, target: Path) -> None:
    """A whole and checked copy of a SQLite database that may be in use meanwhile.

    It appears under its name only when it is complete. StoreError: it could
    not be written, or is not whole.
    """
    draft = target.with_name(f".{target.name}.part")
    try:
        _copy(source, draft)
        draft.replace(target)
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"{target} could not be written ({error}): choose another place") from None
    finally:
        draft.unlink(missing_ok=True)


def _copy(source: Path, target: Path) -> None:
    target.unlink(missing_ok=True)
    with closing(sqlite3.connect(source)) as held, closing(sqlite3.connect(target)) as made:
        held.backup(made)
        made.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        said = made.execute("PRAGMA integrity_check").fetchone()[0]
    if said != "ok":
        raise StoreError(
            f"{source} is damaged ({said}): restore an earlier backup; nothing was made"
        )
