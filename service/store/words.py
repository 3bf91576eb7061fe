"""What the database's own errors mean for a person."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from sqlalchemy.exc import DBAPIError

_MEANINGS: Final = (
    ("database is locked", "another program is writing to it: stop that one, or try again"),
    ("readonly database", "it cannot be written to: check the file's and the folder's permissions"),
    ("unable to open", "it cannot be opened: check that the folder exists and may be written to"),
    ("disk is full", "the disk is full: make room, then start again; what was kept is safe"),
    ("disk i/o error", "the disk failed: check it, and restore the last backup elsewhere"),
    ("not a database", "it is not a database, or a damaged one: restore the last backup"),
    ("malformed", "it is damaged: restore the last backup"),
    ("connection refused", "no database server answers there: start it, or check the address"),
    ("could not translate host", "there is no such database server: check the address"),
    ("failed to resolve host", "there is no such database server: check the address"),
    ("password authentication failed", "the server refuses the user or the password"),
    ('database "', "the server has no such database: create it, or check the address"),
    ('role "', "the server has no such user: create it, or check the address"),
    ("permission denied", "the user may not use it: ask who runs the server for the rights"),
    ("connection timeout", "the database server does not answer: check the address"),
)


def explain(place: str, error: DBAPIError) -> str:
    """One line: which database, what is wrong, what to do."""
    said = str(error.orig).strip()
    low = said.lower()
    for mark, meaning in _MEANINGS:
        if mark in low:
            return f"{place}: {meaning} ({said.splitlines()[0]})"
    return f"{place}: the database refused: {said.splitlines()[0] if said else type(error.orig)}"
