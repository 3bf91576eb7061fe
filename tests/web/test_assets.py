"""The chart library is made once, however many ask for it at the same time."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from service.web import assets

SLOW = """
import pathlib, sys, time
with open({log!r}, "a") as log:
    log.write("made ")
time.sleep(0.3)
pathlib.Path(sys.argv[1]).write_text("chart library")
"""


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The making of the library is played by a slow script that notes each of its runs."""
    log = tmp_path / "log"
    monkeypatch.setattr(assets, "_MAKE", SLOW.format(log=str(log)))
    return log


def test_the_start_and_the_first_pages_ask_at_once(log: Path, tmp_path: Path) -> None:
    shared = assets.Assets(tmp_path / "cache")
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(shared.get, ["vega.js"] * 4))
    assert [one and one.body for one in found] == [b"chart library"] * 4
    assert log.read_text() == "made "


def test_two_services_with_one_cache_do_not_take_each_others_file(
    log: Path, tmp_path: Path
) -> None:
    both = [assets.Assets(tmp_path / "cache") for _ in range(2)]
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda one: one.get("vega.js"), both))
    assert [one and one.body for one in found] == [b"chart library"] * 2
    assert [path.suffix for path in (tmp_path / "cache").iterdir()] == [".js"]
    assert assets.Assets(tmp_path / "cache").get("vega.js") == found[0]
    assert "made" in log.read_text()
