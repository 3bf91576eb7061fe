"""Files in and out: read with a bound, written whole or not at all."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from service.errors import InputError


def read_bytes(path: Path, limit: int, what: str) -> bytes:
    """At most `limit` bytes. InputError where the file is larger or cannot be read."""
    try:
        with path.open("rb") as stream:
            data = stream.read(limit + 1)
    except OSError as error:
        raise InputError(f"{path}: {reason(error)}; check the name and its permissions") from None
    if len(data) > limit:
        raise InputError(f"{path}: is larger than {limit >> 20} MiB; {what}")
    return data


def decode(data: bytes, name: str) -> str:
    """UTF-8 (with or without a mark), UTF-16 with a mark, else Windows-1252."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            raise InputError(f"{name}: is not readable text; save it as UTF-8") from None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def write_bytes(path: Path, data: bytes) -> None:
    """Write beside the target and put it in place at once. InputError where that fails.

    `-` is the standard output, as with most programs.
    """
    if str(path) == "-":
        _print(data)
        return
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except OSError as error:
        raise InputError(f"{path}: {reason(error)}; choose a place that can be written") from None


def _print(data: bytes) -> None:
    stream = getattr(sys.stdout, "buffer", None)
    if stream is None:  # a stream of text alone
        sys.stdout.write(data.decode("utf-8", "replace"))
    else:
        sys.stdout.flush()
        stream.write(data)
        stream.flush()


def reason(error: OSError) -> str:
    """The system's words for what went wrong."""
    return error.strerror or "cannot be opened"
