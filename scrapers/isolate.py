"""Heavy pages are read in a process held to 512 MiB and 2 s of CPU; killed = too large.

A fresh interpreter, not a fork: the service has threads, and the caller's
`__main__` must not run again. Values cross as pickles between our own two ends.
"""

from __future__ import annotations

import os
import pickle
import resource
import subprocess
import sys
from importlib import import_module
from typing import Any, cast

from scrapers.errors import TooLargeError
from scrapers.model import Outcome, Reading

MAX_MEMORY = 512 << 20
MAX_CPU = 2  # seconds, beyond what starting takes
MAX_WALL = 20.0  # seconds: a starved machine must not hold up the poll
_START = "import sys; sys.path[:0] = {path!r}; from scrapers import isolate; isolate.main()"


def run(function: str, *args: Any) -> Reading:
    """`function` of scrapers.read with `args`, in a process of its own.

    Raises TooLargeError where the process had to be killed.
    """
    command = [sys.executable, "-c", _START.format(path=[p for p in sys.path if p])]
    worker = subprocess.Popen(  # noqa: S603  # our own interpreter and our own code
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        # numpy's thread pools would reserve address space by the core, out of our 512 MiB
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    )
    try:
        said, _ = worker.communicate(pickle.dumps((function, args)), timeout=MAX_WALL)
    except subprocess.TimeoutExpired:
        said = b""
    finally:
        worker.kill()
        worker.communicate()
    if worker.returncode != 0 or not said:
        raise TooLargeError("the page is too heavy to parse")
    return cast("Reading", pickle.loads(said))  # noqa: S301  # written by `main` below


def main() -> None:
    """The other end: read one job from stdin, answer on stdout."""
    read = import_module("scrapers.read")  # which imports this module: hence not at the top
    function, args = pickle.load(sys.stdin.buffer)  # noqa: S301  # written by `run` above
    _limit()
    try:
        answer = getattr(read, function)(*args)
    except (MemoryError, RecursionError):
        answer = Reading(Outcome.TOO_LARGE, "the page is too heavy to parse")
    sys.stdout.buffer.write(pickle.dumps(answer))
    sys.stdout.buffer.flush()


def _limit() -> None:
    usage = resource.getrusage(resource.RUSAGE_SELF)
    seconds = int(usage.ru_utime + usage.ru_stime) + MAX_CPU
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))
    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY, MAX_MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
