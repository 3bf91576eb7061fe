"""Who holds a lease: a name by which a dead process of this machine is told from a living one."""

from __future__ import annotations

import os
from pathlib import Path


def owner_name() -> str:
    """Machine, process and its start: tells a dead owner from a reused process id."""
    return f"{os.uname().nodename}:{os.getpid()}:{_started(os.getpid())}"


def is_dead(owner: str) -> bool:
    """Whether `owner` was a process of this machine that no longer runs."""
    node, _, rest = owner.partition(":")
    pid, _, started = rest.partition(":")
    if node != os.uname().nodename or not pid.isdigit():
        return False
    return _started(int(pid)) != started


def _started(pid: int) -> str:
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return _alive_without_proc(pid)
    return stat.rpartition(")")[2].split()[19]


def _alive_without_proc(pid: int) -> str:
    if Path("/proc/self").exists():
        return "gone"
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return "gone"
    except PermissionError:
        pass
    return "unknown"
