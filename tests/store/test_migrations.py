from __future__ import annotations

import shutil
import sqlite3
from decimal import Decimal
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text
from store_books import BATTERY, NOON, keep, seen

from service.errors import StoreError
from service.model.book import Book
from service.model.orders import Movement
from service.store import migrate, schema, tables
from service.store.database import SqlStore, open_store

NEXT = '''
"""A later version: another column, which makes SQLite build the table anew."""
import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade():
    with op.batch_alter_table("listing", recreate="always" if op.get_bind().dialect.name == "sqlite" else "auto") as batch:
        batch.add_column(sa.Column("colour", sa.Text()))
'''
BROKEN = (
    NEXT.replace('revision = "0003"', 'revision = "0004"')
    .replace('"0002"', '"0003"')
    .replace(
        'batch.add_column(sa.Column("colour", sa.Text()))',
        'batch.add_column(sa.Column("size", sa.Text()))\n    op.execute("DELETE FROM supplier")',
    )
)


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    """Our migrations and one of a later version."""
    folder = tmp_path / "migrations"
    shutil.copytree(migrate.SCRIPTS, folder)
    (folder / "versions" / "0003_colour.py").write_text(NEXT)
    return folder


def filled(store: SqlStore) -> int:
    one = keep(store)[BATTERY]
    with store.write() as unit:
        unit.log.record([seen(one, NOON, "5"), seen(one, NOON.replace(hour=18), "6")])
    return one


def book(store: SqlStore) -> Book:
    with store.read() as unit:
        return unit.catalogue.book()


def counts(store: SqlStore) -> dict[str, int]:
    with store.engine.connect() as conn:
        return {
            name: conn.scalar(text(f"SELECT count(*) FROM {name}")) or 0
            for name in ("listing", "supply", "spell", "running", "poll")
        }


def test_the_versions_are_the_scripts_in_their_order() -> None:
    found = ScriptDirectory.from_config(migrate.config()).walk_revisions()
    assert tuple(script.revision for script in reversed(list(found))) == schema.VERSIONS


NEW_IN_0002 = ("offcut", "movement", "bill", "order_line", "order_head")


def as_0001(store: SqlStore) -> None:
    """The database as the first version made it: it had all tables but these."""
    with store.engine.begin() as conn:
        for name in NEW_IN_0002:
            conn.execute(text(f"DROP TABLE {name}"))
        conn.execute(text(f"UPDATE {schema.VERSION_TABLE} SET version_num = '0001'"))


def test_a_database_of_the_first_version_gets_orders_and_keeps_its_data(url: str) -> None:
    with open_store(url) as store:
        filled(store)
        before, known = counts(store), book(store)
        as_0001(store)
    with open_store(url) as store:
        with store.engine.connect() as conn:
            assert schema.version(conn) == schema.NEWEST
            options = {"compare_type": True, "version_table": schema.VERSION_TABLE}
            context = MigrationContext.configure(conn, opts=options)
            assert compare_metadata(context, tables.metadata) == []
        assert counts(store) == before
        assert book(store) == known
        assert known.purchases
        with store.write() as unit:
            assert unit.orders.all() == unit.workshop.movements() == unit.workshop.offcuts() == []
            unit.workshop.add(
                Movement(known.purchases[0].part, "used", Decimal("0.5"), NOON.date(), "curlew")
            )


def test_migrated_and_new_tables_are_the_same_to_sqlite(tmp_path: Path) -> None:
    said = []
    for old in (False, True):
        path = tmp_path / f"{old}.db"
        with open_store(f"sqlite:///{path}") as store:
            if old:
                as_0001(store)
        with open_store(f"sqlite:///{path}") as store, store.engine.connect() as conn:
            rows = conn.execute(text("SELECT name, sql FROM sqlite_master WHERE sql <> ''")).all()
            said.append(
                {name: {line.strip(" ,\t") for line in sql.split("\n")} for name, sql in rows}
            )
    assert all(said[0][name] == said[1][name] for name in NEW_IN_0002)


def test_a_new_database_has_just_the_tables_that_the_program_knows(store: SqlStore) -> None:
    with store.engine.connect() as conn:
        options = {"compare_type": True, "version_table": schema.VERSION_TABLE}
        context = MigrationContext.configure(conn, opts=options)
        assert compare_metadata(context, tables.metadata) == []


def test_a_table_made_anew_keeps_the_rows_that_refer_to_it(store: SqlStore, scripts: Path) -> None:
    one = filled(store)
    before = counts(store)
    assert before["spell"] == 1
    with store.engine.connect() as conn:
        migrate.upgrade(conn, scripts=scripts)
        assert schema.version(conn) == "0003"
    assert counts(store) == before
    with store.engine.connect() as conn:
        assert conn.scalar(text("SELECT count(colour) FROM listing")) == 0
        if store.dialect == "sqlite":
            assert conn.scalar(text("PRAGMA foreign_keys")) == 1
            assert conn.execute(text("PRAGMA foreign_key_check")).all() == []
    with store.read() as unit:
        assert len(unit.log.spells([one])) == 2


def test_without_the_precaution_sqlite_would_delete_them(
    sqlite_store: SqlStore, scripts: Path
) -> None:
    """https://www.sqlite.org/lang_altertable.html, the 12 steps: first of all switch foreign keys off."""
    from alembic import command

    filled(sqlite_store)
    with sqlite_store.engine.connect() as conn, conn.begin():
        command.upgrade(migrate.config(conn, scripts), "head")
    assert counts(sqlite_store) == {"listing": 4, "supply": 0, "spell": 0, "running": 0, "poll": 0}


def test_a_change_that_would_break_references_is_undone(
    sqlite_store: SqlStore, scripts: Path
) -> None:
    (scripts / "versions" / "0004_broken.py").write_text(BROKEN)
    filled(sqlite_store)
    before = counts(sqlite_store)
    with sqlite_store.engine.connect() as conn:
        with pytest.raises(
            StoreError, match="not changed: table listing would refer to rows of supplier"
        ):
            migrate.upgrade(conn, scripts=scripts)
        conn.rollback()
        assert schema.version(conn) == schema.NEWEST
        conn.rollback()
    assert counts(sqlite_store) == before
    with sqlite_store.read() as unit:
        assert unit.catalogue.listing(BATTERY) is not None


def test_opening_an_older_database_copies_it_aside_and_changes_it(
    tmp_path: Path, scripts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.db"
    with open_store(f"sqlite:///{path}") as store:
        one = filled(store)
    upgrade = migrate.upgrade

    def later(conn: Connection) -> None:
        upgrade(conn, scripts=scripts)

    now = schema.NEWEST
    monkeypatch.setattr(migrate, "upgrade", later)
    monkeypatch.setattr(schema, "VERSIONS", (*schema.VERSIONS, "0003"))
    monkeypatch.setattr(schema, "NEWEST", "0003")
    with open_store(f"sqlite:///{path}") as store, store.read() as unit:
        assert len(unit.log.spells([one])) == 2
    (copy,) = tmp_path.glob(f"book.db.v{now}-*.backup")
    old = sqlite3.connect(copy)
    assert old.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert old.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchone() == (now,)
    assert old.execute("SELECT count(*) FROM spell").fetchone() == (1,)
    old.close()
