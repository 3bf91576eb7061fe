"""Network off except loopback, a clean environment, an empty home for every test."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

_connect = socket.socket.connect
_LOOPBACK = ("127.", "::1", "localhost")


def _guarded(self: socket.socket, address: Any) -> None:
    if self.family in (socket.AF_INET, socket.AF_INET6) and not str(address[0]).startswith(
        _LOOPBACK
    ):
        raise RuntimeError(f"a test asked the network for {address}")
    _connect(self, address)


@pytest.fixture(autouse=True, scope="session")
def _network_off() -> Iterator[None]:
    patch = pytest.MonkeyPatch()
    patch.setattr(socket.socket, "connect", _guarded)
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def clean_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in list(os.environ):
        if name.startswith("EBBMARK_") or name.lower().endswith("_proxy"):
            monkeypatch.delenv(name)
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    return home
