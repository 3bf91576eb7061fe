"""A backup put back, and a book carried to the other database: nothing lost, nothing doubled.

What has to hold is `common practice` for backups: what was put back is what was copied,
what it replaces is kept, and a wrong file changes nothing.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from store_books import BATTERY, HOUR, NOON, keep, seen

from service.errors import InputError, StoreError
from service.store import tables
from service.store.database import SqlStore, open_store
from service.store.whole import carry, restore

MOMENT = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)


def _rows(store: SqlStore) -> dict[str, list[Any]]:
    with store.engine.connect() as conn:
        return {
            table.name: sorted(map(repr, conn.execute(select(table)).all()))
            for table in tables.metadata.sorted_tables
        }


def _booked(store: SqlStore, *prices: str) -> int:
    one = keep(store)[BATTERY]
    with store.write() as unit:
        unit.log.record([seen(one, NOON + n * HOUR, price) for n, price in enumerate(prices)])
    return one


def _price(store: SqlStore, listing: int) -> Decimal:
    with store.engine.connect() as conn:
        running = tables.running
        found = conn.scalar(select(running.c.price).where(running.c.listing == listing))
    assert found is not None
    return found


def test_a_backup_put_back_is_the_book_of_that_time(tmp_path: Path) -> None:
    url, kept = f"sqlite:///{tmp_path / 'book.db'}", tmp_path / "kept.backup"
    with open_store(url) as store:
        one = _booked(store, "5", "6")
        store.backup(kept)
        with store.write() as unit:
            unit.log.record([seen(one, NOON + 9 * HOUR, "7")])
    aside = restore(kept, url, MOMENT)
    with open_store(url) as store:
        assert _price(store, one) == Decimal(6)
        assert store.problems() == []
    assert aside == tmp_path / "book.db.before-20260504T030201Z.backup"
    with open_store(f"sqlite:///{aside}") as before:
        assert _price(before, one) == Decimal(7)


def test_a_restore_into_no_book_makes_it(tmp_path: Path) -> None:
    kept = tmp_path / "kept.backup"
    with open_store(f"sqlite:///{tmp_path / 'book.db'}") as store:
        one = _booked(store, "5")
        store.backup(kept)
    other = f"sqlite:///{tmp_path / 'other.db'}"
    assert restore(kept, other, MOMENT) is None
    with open_store(other) as made:
        assert _price(made, one) == Decimal(5)


def test_a_damaged_book_can_be_replaced(tmp_path: Path) -> None:
    book, kept = tmp_path / "book.db", tmp_path / "kept.backup"
    with open_store(f"sqlite:///{book}") as store:
        one = _booked(store, "5")
        store.backup(kept)
    book.write_bytes(b"SQLite format 3\x00" + b"broken" * 2000)
    aside = restore(kept, f"sqlite:///{book}", MOMENT)
    assert aside is not None
    assert b"broken" in aside.read_bytes()
    with open_store(f"sqlite:///{book}") as made:
        assert _price(made, one) == Decimal(5)


def test_a_host_keeps_its_pause_over_a_restore(tmp_path: Path) -> None:
    url, kept = f"sqlite:///{tmp_path / 'book.db'}", tmp_path / "kept.backup"
    host = tables.host
    with open_store(url) as store:
        _booked(store, "5")
        with store.engine.begin() as conn:
            conn.execute(host.insert().values(host="a.example", token=4, next_allowed_at=NOON))
        store.backup(kept)
        with store.engine.begin() as conn:
            conn.execute(host.update().values(token=9, next_allowed_at=NOON + 8 * HOUR))
    restore(kept, url, MOMENT)
    with open_store(url) as store, store.engine.connect() as conn:
        row = conn.execute(select(host.c.token, host.c.next_allowed_at)).one()
    assert row.next_allowed_at == NOON + 8 * HOUR
    assert row.token > 9


@pytest.mark.parametrize("kind", ["none", "text", "other", "newer"])
def test_a_wrong_file_changes_nothing(tmp_path: Path, kind: str) -> None:
    book, wrong = tmp_path / "book.db", tmp_path / "wrong.backup"
    with open_store(f"sqlite:///{book}") as store:
        _booked(store, "5")
        store.backup(wrong)
    if kind == "none":
        wrong.unlink()
    elif kind == "text":
        wrong.write_text("a shopping list")
    else:
        with closing(sqlite3.connect(wrong)) as conn, conn:
            conn.execute(
                "DROP TABLE ebbmark_version"
                if kind == "other"
                else "UPDATE ebbmark_version SET version_num = '9999'"
            )
    before = book.read_bytes()
    with pytest.raises(InputError, match=r"nothing|no such file"):
        restore(wrong, f"sqlite:///{book}", MOMENT)
    assert book.read_bytes() == before
    assert {path.name for path in tmp_path.iterdir()} <= {"book.db", "wrong.backup", "home"}


def test_a_book_in_use_is_not_replaced(sqlite_store: SqlStore, tmp_path: Path) -> None:
    one = _booked(sqlite_store, "5")
    sqlite_store.backup(tmp_path / "kept.backup")
    with pytest.raises(StoreError, match="in use"):
        restore(tmp_path / "kept.backup", sqlite_store.url, MOMENT)
    assert _price(sqlite_store, one) == Decimal(5)


def test_a_book_is_carried_whole_and_stays_where_it_was(store: SqlStore, tmp_path: Path) -> None:
    _booked(store, "5", "6", "6.5")
    before = _rows(store)
    target = f"sqlite:///{tmp_path / 'target.db'}"
    counts = carry(store, target)
    assert _rows(store) == before
    assert counts == {name: len(rows) for name, rows in before.items()}
    with open_store(target) as made:
        assert _rows(made) == before
        assert made.problems() == []


def test_a_book_is_carried_into_the_other_database(sqlite_store: SqlStore, url: str) -> None:
    one = _booked(sqlite_store, "5", "6")
    if url == sqlite_store.url:
        pytest.skip("the two addresses are the same file")
    carry(sqlite_store, url)
    with open_store(url) as made:
        assert _rows(made) == _rows(sqlite_store)
        again = keep(made)  # new things get numbers that are free
        with made.write() as unit:
            unit.log.record([seen(one, NOON + 30 * HOUR, "8")])
        assert again[BATTERY] == one
        assert _price(made, one) == Decimal(8)


def test_a_lease_stays_with_the_old_database(sqlite_store: SqlStore, tmp_path: Path) -> None:
    with sqlite_store.engine.begin() as conn:
        conn.execute(tables.host.insert().values(host="a.example", token=4, owner="me", until=NOON))
    target = f"sqlite:///{tmp_path / 'target.db'}"
    carry(sqlite_store, target)
    with open_store(target) as made, made.engine.connect() as conn:
        assert conn.execute(select(tables.host.c.owner, tables.host.c.token)).one() == (None, 4)


def test_a_book_that_is_there_is_not_written_over(sqlite_store: SqlStore, tmp_path: Path) -> None:
    _booked(sqlite_store, "5")
    target = f"sqlite:///{tmp_path / 'target.db'}"
    with open_store(target) as other:
        _booked(other, "9")
        held = _rows(other)
    with pytest.raises(StoreError, match="holds a book already"):
        carry(sqlite_store, target)
    with open_store(target) as other:
        assert _rows(other) == held


def test_a_book_is_not_carried_onto_itself(sqlite_store: SqlStore) -> None:
    _booked(sqlite_store, "5")
    with pytest.raises(InputError, match="already"):
        carry(sqlite_store, sqlite_store.url)
