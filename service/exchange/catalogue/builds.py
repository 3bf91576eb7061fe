"""`[build.KEY]`: what a build needs, line by line, and how a version differs from its base."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from scrapers import Amount, Dimension, dimension, to_base
from service.errors import InputError
from service.exchange.catalogue import values as v
from service.exchange.catalogue.draft import NO_AMOUNT
from service.model.builds import Alternative, Build, Counts, Cut, Line, Replacement

if TYPE_CHECKING:
    from service.exchange.catalogue.table import Table

STATES: Final = ("planned", "building", "finished", "retired")
GRAINS: Final = ("along", "across", "any")
_COUNTED: Final = re.compile(r"(?P<piece>.*[^\d\s.,])\s*[x\u00d7]\s*(?P<count>\d{1,5})\s*")
_HOURS: Final = re.compile(r"\s*(?P<number>[0-9.]+)\s*(?P<unit>h|min)\s*")
_CUT = 'write such as "300 mm x 4" or "300 x 200 mm x 2"'


def read_build(key: str, table: Table) -> Build:
    """One build. A version without a currency has "" until its base is known."""
    base = table.maybe("from", v.key)
    build = Build(
        key=key,
        name=table.get("name", v.words(), key) if base else _name(key, table),
        currency=_currency(table, base),
        lines=tuple(read_line(row) for row in table.tables("lines")),
        budget=table.maybe("budget", v.price),
        need_by=table.maybe("need_by", v.day),
        destination=table.maybe("destination", v.country),
        base=base,
        replace=tuple(_replacement(row) for row in table.tables("replace")),
        state=table.get("state", v.one_of(*STATES), "planned"),
        hours=table.maybe("hours", hours),
        labour_rate=table.maybe("labour_rate", v.money),
    )
    if build.replace and base is None:
        table.problem("needs the build it derives from; write from = KEY", "replace")
    table.done()
    return build


def _name(key: str, table: Table) -> str:
    return table.need("name", v.words(), "", f'write such as name = "{key.title()}"')


def _currency(table: Table, base: str | None) -> str:
    if base is None:
        return table.need("currency", v.currency, "", 'write such as currency = "EUR"')
    return table.get("currency", v.currency, "")


def _replacement(row: Table) -> Replacement:
    found = Replacement(
        old=row.need("part", v.key, "", "name the part that is replaced by its key"),
        new=row.maybe("by", v.key),
        amount=row.maybe("amount", v.amount),
    )
    row.done()
    return found


def read_line(row: Table) -> Line:
    """One line: a part, a requirement, or alternatives (a part beside `or` is the first)."""
    choose = tuple(_alternative(other) for other in row.tables("or"))
    part, need = row.maybe("part", v.key), row.texts("need", v.need_value)
    cuts = row.each("cuts", cut)
    amount = _amount(row, choose, cuts, has_part=part is not None)
    if choose and part is not None:
        choose = (Alternative(part, amount), *choose)
    _one_kind(row)
    line = Line(
        amount=amount,
        group=row.get("group", v.words(40), "other"),
        part=None if choose else part,
        need=need,
        choose=choose,
        counts=row.get("counts", counts, Counts()),
        waste=row.get("waste", v.fraction, Decimal(0)),
        kerf=row.get("kerf", millimetres, Decimal(0)),
        cuts=cuts,
        longest=row.maybe("longest", _length),
        grain=row.maybe("grain", v.one_of(*GRAINS)),
        listing=row.maybe("listing", v.words(2083)),
        note=row.get("note", v.words(2000, lines=True), ""),
        hours=row.maybe("hours", hours),
    )
    row.done()
    return line


def _one_kind(row: Table) -> None:
    written = row.has("part", "need", "or")
    if not written:
        row.problem("names no part; write part = KEY, need = { ... } or or = [ ... ]")
    elif "need" in written and len(written) > 1:
        row.problem(f"has {' and '.join(written)}; keep one (or may stand beside part)")
    elif written == ["need"] and not row.data["need"]:
        row.problem("is empty; write what is needed, such as { cells = 4 }", "need")


def _amount(
    row: Table, choose: tuple[Alternative, ...], cuts: tuple[Cut, ...], *, has_part: bool
) -> Amount:
    if not row.has("amount"):
        if cuts and (total := sum_of(cuts)) is not None:
            return total
        if choose and not has_part:
            return choose[0].amount
    return row.need("amount", v.amount, NO_AMOUNT, 'write such as amount = "1 piece"')


def sum_of(cuts: tuple[Cut, ...]) -> Amount | None:
    """All pieces of a cut list together; None where bars and sheets are mixed."""
    lengths = [piece.length * piece.count for piece in cuts if piece.length is not None]
    if len(lengths) == len(cuts):
        return Amount(sum(lengths, Decimal(0)), "mm")
    areas = [piece.size[0] * piece.size[1] * piece.count for piece in cuts if piece.size]
    if len(areas) == len(cuts):
        return Amount(sum(areas, Decimal(0)) / 1_000_000, "m2")
    return None


def _alternative(row: Table) -> Alternative:
    found = Alternative(
        part=row.need("part", v.key, "", "name the part by its key"),
        amount=row.need("amount", v.amount, NO_AMOUNT, 'write such as amount = "2 pieces"'),
    )
    row.done()
    return found


def counts(raw: Any) -> Counts:
    """`share`, `whole`, `owned`, `stock`, `tool`, or `shared 6`."""
    word, _, among = raw.partition(" ") if isinstance(raw, str) else (raw, "", "")
    if word == "shared":
        return Counts("shared", v.whole(2, 10_000)(among.strip() or "0"))
    if among:
        raise InputError(f'{v.shown(raw)}: only shared takes a number; write such as "shared 6"')
    match v.one_of("share", "whole", "owned", "shared 6", "stock", "tool")(word):
        case "whole":
            return Counts("whole")
        case "owned":
            return Counts("owned")
        case "stock":
            return Counts("stock")
        case "tool":
            return Counts("tool")
        case _:
            return Counts()


def hours(raw: Any) -> Decimal:
    """Hours of work: a bare number, or `"1.5 h"`, `"90 min"`."""
    found = _HOURS.fullmatch(raw) if isinstance(raw, str) else None
    if found is None:
        return v.positive(raw)
    number = v.positive(found["number"])
    return number if found["unit"] == "h" else (number / 60).quantize(Decimal("0.001"))


def millimetres(raw: Any) -> Decimal:
    """A length in mm: a bare number, or with its unit."""
    if not isinstance(raw, str):
        return v.positive(raw)
    return to_base(_length(raw)) * 1000


def _length(raw: Any) -> Amount:
    found = v.amount(raw)
    if dimension(found.unit) is not Dimension.LENGTH:
        raise InputError(f'{v.shown(raw)} is not a length; write such as "300 mm"')
    return found


def cut(raw: Any) -> Cut:
    """`"300 mm x 4"` (bars) or `"300 x 200 mm x 2"` (rectangles)."""
    found = _COUNTED.fullmatch(raw) if isinstance(raw, str) else None
    piece = v.amount(found["piece"] if found else raw)
    count = piece.pieces * (int(found["count"]) if found else 1)
    if count < 1:
        raise InputError(f"{v.shown(raw)} cuts nothing; {_CUT}")
    if piece.size is not None:
        return Cut(count, size=piece.size)
    if dimension(piece.unit) is not Dimension.LENGTH:
        raise InputError(f"{v.shown(raw)} is no cut; {_CUT}")
    return Cut(count, length=to_base(piece) / piece.pieces * 1000)
