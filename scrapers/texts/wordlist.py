"""Word lists of the package: text files with `[section]` lines, one entry a line, `#` comments."""

from __future__ import annotations

from pathlib import Path


def read_sections(name: str) -> dict[str, list[str]]:
    """Section name -> entries, in the order of the file `name` beside this module."""
    sections: dict[str, list[str]] = {}
    entries: list[str] = []
    for line in Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines():
        if line.startswith("[") and line.endswith("]"):
            entries = sections.setdefault(line[1:-1], [])
        elif line and not line.startswith("#"):
            entries.append(line)
    return sections
