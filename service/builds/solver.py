"""The optimiser, made silent: its wrapper prints a banner while it is constructed.

A banner on the standard output would break every `--json`; options can be set only
once the object exists, so the first method that the constructor calls switches it off.
"""

from __future__ import annotations

from functools import cache
from typing import Any


@cache
def _quiet_class() -> type[Any]:
    import highspy  # noqa: PLC0415  # 0.1 s, only where something is solved

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:  # noqa: N802  # the library's name
            self.silent()
            super().enableCallbacks()  # type: ignore[no-untyped-call]  # the library has no types

    return Quiet


def new_solver(time_limit: float) -> Any:
    """A silent solver on one thread that stops after `time_limit` seconds."""
    solver = _quiet_class()()
    solver.silent()
    solver.setOptionValue("time_limit", time_limit)
    solver.setOptionValue("threads", 1)
    return solver
