"""A copy of the book and its return, another database, and workers without pages.

That a restored book is the one that was copied is `common practice` for backups.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import pytest
from book_kit import CATALOGUE, MOTOR
from command import ebbmark
from many_shops import catalogue, many_shops

PAST = f"""listing,at,price,currency,availability
{MOTOR},2026-01-05T08:00:00Z,35.00,EUR,in_stock
{MOTOR},2026-06-01T08:00:00Z,29.00,EUR,in_stock
"""
WORK = [sys.executable, "-c", "from service.cli import main; main()", "work"]
HOSTS, EACH = 3, 2


@pytest.fixture
def db(tmp_path):
    url = f"sqlite:///{tmp_path / 'book.db'}"
    (tmp_path / "book.toml").write_text(CATALOGUE)
    (tmp_path / "past.csv").write_text(PAST)
    assert ebbmark("--db", url, "load", str(tmp_path / "book.toml")).code == 0
    assert ebbmark("--db", url, "import", "history", str(tmp_path / "past.csv")).code == 0
    return url


def both(db):
    return [ebbmark("--db", db, *words).out for words in (("dump",), ("history", MOTOR, "--csv"))]


def test_backup_and_restore(db, tmp_path):
    file = tmp_path / "kept.backup"
    held = both(db)
    assert "29.00" in held[1]
    assert ebbmark("--db", db, "backup", str(file)).code == 0
    assert ebbmark("--db", db, "remove", MOTOR).code == 0
    assert both(db) != held
    done = ebbmark("--db", db, "restore", str(file))
    assert (done.code, "is kept in" in done.out) == (0, True)
    assert both(db) == held


def test_a_file_is_not_written_over_by_mistake(db, tmp_path):
    file = tmp_path / "kept.backup"
    file.write_text("something else")
    refused = ebbmark("--db", db, "backup", str(file))
    assert (refused.code, "--replace" in refused.err) == (2, True)
    assert file.read_text() == "something else"
    assert ebbmark("--db", db, "backup", str(file), "--replace").code == 0
    assert ebbmark("--db", f"sqlite:///{tmp_path / 'new.db'}", "restore", str(file)).code == 0


def test_a_backup_of_no_book_makes_none(tmp_path):
    nowhere = tmp_path / "none.db"
    assert ebbmark("--db", f"sqlite:///{nowhere}", "backup", str(tmp_path / "b")).code == 2
    assert not nowhere.exists()


def test_the_book_moves_to_another_database(db, tmp_path):
    target = f"sqlite:///{tmp_path / 'other.db'}"
    held = both(db)
    assert ebbmark("--db", db, "move", "--to", target).code == 0
    assert both(target) == held == both(db)
    assert ebbmark("--db", db, "move", "--to", target).code == 2  # not twice


def test_move_says_what_it_needs(db):
    refused = ebbmark("--db", db, "move", "motor", "--to", "racer")
    assert (refused.code, "--amount" in refused.err) == (2, True)


def test_two_workers_share_the_listings_and_stop_when_asked(tmp_path, clean_home):
    env = {
        "HOME": str(clean_home),
        "PATH": os.environ["PATH"],
        "EBBMARK_DB": f"sqlite:///{tmp_path / 'book.db'}",
        "EBBMARK_ALLOW_HOSTS": ",".join(f"127.0.0.{n}" for n in range(1, HOSTS + 1)),
    }
    with many_shops(HOSTS) as shops:
        (tmp_path / "book.toml").write_text(catalogue(shops, HOSTS, EACH))
        url = env["EBBMARK_DB"]
        assert ebbmark("--db", url, "load", str(tmp_path / "book.toml")).code == 0
        pair = [subprocess.Popen(WORK, env=env, stderr=subprocess.PIPE) for _ in range(2)]
        try:
            _wait_for(lambda: len(_asked(shops)) >= HOSTS * EACH)
            time.sleep(1)  # a second visit of a page would come now
        finally:
            for one in pair:
                one.send_signal(signal.SIGTERM)
            said = [one.communicate(timeout=30)[1] for one in pair]
    assert len(_asked(shops)) == len(set(_asked(shops))) == HOSTS * EACH
    assert [one.returncode for one in pair] == [0, 0]
    assert not any(b"Traceback" in text for text in said)


def _asked(shops):
    return [(host, path) for host, path, *_ in list(shops.log) if path != "/robots.txt"]


def _wait_for(check, seconds=60.0):
    end = time.monotonic() + seconds
    while not check():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.2)
