from __future__ import annotations

from typing import TYPE_CHECKING

import pg
import pytest

from service.store.database import SqlStore, open_store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    try:
        with pg.server() as url, pg.database(url) as one:
            yield one
    except pg.NoServerError as reason:
        pytest.skip(str(reason))


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An address where no database of ours is yet, on each of the two databases."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'book.db'}"
    else:
        with pg.schema(request.getfixturevalue("postgres_server")) as address:
            yield address


@pytest.fixture
def store(url: str) -> Iterator[SqlStore]:
    with open_store(url) as opened:
        yield opened


@pytest.fixture
def sqlite_store(tmp_path: Path) -> Iterator[SqlStore]:
    with open_store(f"sqlite:///{tmp_path / 'book.db'}") as opened:
        yield opened
