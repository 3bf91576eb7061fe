"""One line of caution where goods can hurt someone, from data."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files

from service.builds.fit import watt_hours
from service.builds.words import Kind, read_kind
from service.model.catalogue import Part


@dataclass(frozen=True, slots=True)
class Caution:
    """`id` names the kind; `text` is the line to show."""

    id: str
    text: str


@dataclass(frozen=True, slots=True)
class _Row:
    caution: Caution
    kind: Kind
    above_wh: Decimal | None
    on: str | None


@cache
def _rows() -> tuple[_Row, ...]:
    text = (files("service.data") / "cautions.toml").read_text(encoding="utf-8")
    return tuple(
        _Row(
            Caution(row["id"], row["text"]),
            read_kind(row),
            Decimal(row["watt_hours_above"]) if "watt_hours_above" in row else None,
            row.get("on"),
        )
        for row in tomllib.loads(text)["caution"]
    )


def cautions_for(parts: Iterable[Part], *, imported: bool = False) -> tuple[Caution, ...]:
    """The cautions of these parts, each once. `imported`: goods cross a customs border."""
    known = list(parts)
    found = [_said(row, known, imported=imported) for row in _rows()]
    return tuple(caution for caution in found if caution)


def _said(row: _Row, parts: list[Part], *, imported: bool) -> Caution | None:
    if row.on == "import":
        return row.caution if imported else None
    if row.above_wh is None:
        return row.caution if any(row.kind.holds(part) for part in parts) else None
    energies = [wh for part in parts if (wh := watt_hours(part)) is not None]
    most = max(energies, default=Decimal(0))
    if most <= row.above_wh:
        return None
    return Caution(row.caution.id, row.caution.text.format(wh=f"{most.normalize():f}"))
