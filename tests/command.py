"""The command line inside the test's own process."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from dataclasses import dataclass
from typing import Any

from service.cli import main


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)

    @property
    def lines(self) -> list[Any]:
        return [json.loads(line) for line in self.out.splitlines()]


def ebbmark(*args: str) -> Ran:
    out, err, code = io.StringIO(), io.StringIO(), 0
    before = sys.argv
    sys.argv = ["ebbmark", *args]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else 1
    finally:
        sys.argv = before
    return Ran(code, out.getvalue(), err.getvalue())
