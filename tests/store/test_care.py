from __future__ import annotations

import os
from pathlib import Path
from threading import Thread

import pytest
from sqlalchemy import text
from store_books import BATTERY, HOUR, NOON, keep, seen

from service.errors import StoreError
from service.store.database import SqlStore, open_store


def test_a_sound_database_has_no_problems(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    with store.write() as unit:
        unit.log.record([seen(one, NOON, "5"), seen(one, NOON + HOUR, "6")])
    assert store.problems() == []


def test_spells_that_overlap_are_found(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    with store.write() as unit:
        unit.log.record([seen(one, NOON, "5"), seen(one, NOON + HOUR, "6")])
    with store.engine.begin() as conn:
        conn.execute(text("UPDATE spell SET last_seen = last_seen + 7200000000"))
    assert store.problems() == [f"listing {one}: spells overlap; please report this"]


def test_a_reference_to_nothing_is_found(sqlite_store: SqlStore) -> None:
    keep(sqlite_store)
    with sqlite_store.engine.connect() as conn:
        driver = conn.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys=OFF")
        driver.execute("DELETE FROM part WHERE key = 'strap'")
        driver.execute("PRAGMA foreign_keys=ON")
    assert any("the part that it names is not there" in line for line in sqlite_store.problems())


def test_a_backup_made_while_others_write_is_whole(sqlite_store: SqlStore, tmp_path: Path) -> None:
    one = keep(sqlite_store)[BATTERY]
    going = True

    def polls() -> None:
        hour = 0
        while going:
            hour += 1
            with sqlite_store.write() as unit:
                unit.log.record([seen(one, NOON + hour * HOUR, str(1 + hour % 3))])
                unit.set_setting("hours", str(hour))

    writer = Thread(target=polls)
    writer.start()
    try:
        for number in range(5):
            sqlite_store.backup(tmp_path / f"{number}.backup")
    finally:
        going = False
        writer.join()
    for number in range(5):
        with open_store(f"sqlite:///{tmp_path / f'{number}.backup'}") as copy, copy.read() as unit:
            assert copy.problems() == []
            assert sum(s.polls for s in unit.log.spells([one])) == int(unit.setting("hours") or 0)
    assert not list(tmp_path.glob(".*part"))


def test_a_backup_that_cannot_be_written_leaves_nothing_behind(
    sqlite_store: SqlStore, tmp_path: Path
) -> None:
    with pytest.raises(StoreError, match="could not be written"):
        sqlite_store.backup(tmp_path / "no" / "folder" / "x.db")


def test_a_damaged_database_gives_no_backup(sqlite_store: SqlStore, tmp_path: Path) -> None:
    """A flipped page is seen by integrity_check (https://www.sqlite.org/pragma.html)."""
    keep(sqlite_store)
    sqlite_store.close()
    path = Path(str(sqlite_store.engine.url.database))
    held = bytearray(path.read_bytes())
    held[4096 * 4 : 4096 * 12] = os.urandom(4096 * 8)
    path.write_bytes(held)
    target = tmp_path / "x.backup"
    target.write_text("the last good one")
    with pytest.raises(StoreError):
        sqlite_store.backup(target)
    assert target.read_text() == "the last good one"
