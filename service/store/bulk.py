"""Many rows at once, on both databases: statements that take whole columns or lists."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import (
    ARRAY,
    BigInteger,
    Column,
    ColumnElement,
    Connection,
    Table,
    Text,
    any_,
    func,
    literal,
    select,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence


COPY_FROM: Final = 200  # rows from which COPY is worth its start


def is_sqlite(conn: Connection) -> bool:
    """Whether the connection speaks to SQLite (else PostgreSQL)."""
    return conn.dialect.name == "sqlite"


def among(
    conn: Connection, column: Column[Any], values: Collection[int] | Collection[str]
) -> ColumnElement[bool]:
    """`column` is one of `values`, as one bound value however many there are."""
    listed = list(values)
    if is_sqlite(conn):
        rows = func.json_each(json.dumps(listed)).table_valued("value")
        return column.in_(select(rows.c.value))
    kind = Text() if isinstance(column.type, Text) else BigInteger()
    return column == any_(literal(listed, ARRAY(kind)))


def one_of(conn: Connection, numbers: Collection[int]) -> tuple[str, Any]:
    """The same for a statement in text: a condition on `:listings`, and its one bound value."""
    if len(numbers) == 1:
        return "= :listings", next(iter(numbers))
    if is_sqlite(conn):
        return "IN (SELECT value FROM json_each(:listings))", json.dumps(list(numbers))
    return "= ANY(:listings)", list(numbers)


def insert_into(conn: Connection, table: Table) -> Any:
    """The dialect's own insert, which knows what to do on a conflict."""
    if is_sqlite(conn):
        from sqlalchemy.dialects.sqlite import insert  # noqa: PLC0415 -- each needs its own
    else:
        from sqlalchemy.dialects.postgresql import (  # type: ignore[assignment] # noqa: PLC0415 -- the twin of the above
            insert,
        )
    return insert(table)


def upsert(conn: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Insert the rows, or replace the ones that have the same primary key."""
    if not rows:
        return
    keys = [column.name for column in table.primary_key]
    statement = insert_into(conn, table)
    others = [name for name in rows[0] if name not in keys]
    changed = {name: statement.excluded[name] for name in others}
    conn.execute(statement.on_conflict_do_update(index_elements=keys, set_=changed), rows)


def add_new(conn: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Insert the rows whose key is not taken."""
    if rows:
        conn.execute(insert_into(conn, table).on_conflict_do_nothing(), rows)


def delete_where(conn: Connection, column: Column[Any], values: Collection[Any]) -> int:
    """Delete the rows of the column's table that hold one of `values`."""
    if not values:
        return 0
    table: Any = column.table
    return conn.execute(table.delete().where(among(conn, column, values))).rowcount


def run_many(conn: Connection, sql: str, rows: Sequence[tuple[Any, ...]]) -> int:
    """One statement of the driver's own for many rows; answers how many rows it touched.

    `?` stands for a value, as SQLite has it.
    """
    if not rows:
        return 0
    if not is_sqlite(conn):
        sql = sql.replace("?", "%s")
    return max(conn.exec_driver_sql(sql, list(rows)).rowcount, 0)


def insert_many(
    conn: Connection, table: Table, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> int:
    """Rows of raw stored values: by `executemany`, many on PostgreSQL by COPY."""
    names = ", ".join(columns)
    if len(rows) > COPY_FROM and not is_sqlite(conn):
        driver: Any = conn.connection.driver_connection
        with driver.cursor().copy(f"COPY {table.name} ({names}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        return len(rows)
    marks = ", ".join("?" * len(columns))
    return run_many(conn, f"INSERT INTO {table.name} ({names}) VALUES ({marks})", rows)
