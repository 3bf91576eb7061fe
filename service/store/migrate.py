"""Bringing an older schema up to date with Alembic, inside the package and without a file of
settings.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from alembic import command
from alembic.config import Config

from service.errors import StoreError

if TYPE_CHECKING:
    from sqlalchemy import Connection

SCRIPTS: Final = Path(__file__).with_name("migrations")


def config(conn: Connection | None = None, scripts: Path = SCRIPTS) -> Config:
    """Alembic's settings; the connection is handed to `env.py`."""
    made = Config()
    made.set_main_option("script_location", str(scripts).replace("%", "%%"))
    made.attributes["connection"] = conn
    return made


def upgrade(conn: Connection, to: str = "head", scripts: Path = SCRIPTS) -> None:
    """To the newest version, or not at all.

    SQLite changes a table by making it anew and dropping the old one, which
    would delete the rows that refer to it: foreign keys are off meanwhile, and
    checked before the change is committed.
    """
    sqlite = conn.dialect.name == "sqlite"
    _foreign_keys(conn, on=False)
    try:
        with conn.begin():
            command.upgrade(config(conn, scripts), to)
            if sqlite:
                _check(conn)
    finally:
        _foreign_keys(conn, on=True)


def _foreign_keys(conn: Connection, *, on: bool) -> None:
    """On the driver's own connection: the setting has no effect inside a transaction."""
    if conn.dialect.name == "sqlite":
        driver = conn.connection.driver_connection
        if driver is not None:
            driver.execute(f"PRAGMA foreign_keys={'ON' if on else 'OFF'}")


def _check(conn: Connection) -> None:
    broken = conn.exec_driver_sql("PRAGMA foreign_key_check").first()
    if broken is not None:
        raise StoreError(
            f"the schema was not changed: table {broken[0]} would refer to rows of {broken[2]} "
            "that are not there; please report this"
        )
