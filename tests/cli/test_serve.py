"""The service as a process: it polls what is due, answers, and stops when told (POSIX signals)."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request

from command import ebbmark
from many_shops import catalogue, many_shops

HOSTS, EACH = 2, 3
COMMAND = [sys.executable, "-c", "from service.cli import main; main()"]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def ask(port, path):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
        return json.load(answer)


def wait_for(check, seconds=40.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if check():
                return
        except OSError:
            pass
        time.sleep(0.2)
    raise AssertionError("it did not happen in time")


def test_it_polls_by_itself_answers_and_stops(tmp_path, clean_home, monkeypatch):
    env = {
        "HOME": str(clean_home),
        "PATH": os.environ["PATH"],
        "EBBMARK_DB": f"sqlite:///{tmp_path / 'book.db'}",
        "EBBMARK_ALLOW_HOSTS": ",".join(f"127.0.0.{n}" for n in range(1, HOSTS + 1)),
    }
    for name, value in env.items():
        monkeypatch.setenv(name, value)
    with many_shops(HOSTS) as shops:
        (tmp_path / "book.toml").write_text(catalogue(shops, HOSTS, EACH))
        assert ebbmark("load", str(tmp_path / "book.toml")).code == 0
        port = free_port()
        with subprocess.Popen(
            [*COMMAND, "serve", "--port", str(port)],
            env=env,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        ) as process:
            try:
                wait_for(lambda: all(row["price"] for row in listings(port)))
                assert len(listings(port)) == HOSTS * EACH
                deals = ask(port, "/api/deals")
                assert deals
            finally:
                process.send_signal(signal.SIGTERM)
                begun = time.monotonic()
                _, errors = process.communicate(timeout=30)
    assert time.monotonic() - begun < 12
    assert process.returncode in (0, -signal.SIGTERM, 128 + signal.SIGTERM)
    assert b"Traceback" not in errors


def listings(port):
    found = ask(port, "/api/listings")
    return found if isinstance(found, list) else found["items"]
