"""The table behind every form of a cost breakdown: which columns, rows and remarks.

Made from the JSON object of `ebbmark reprice`: it shows that object's figures and adds
nothing up itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Context, Decimal
from typing import Any, Final

from service.builds import texts as words
from service.errors import InputError
from service.exchange import texts
from service.exchange.catalogue.values import plain
from service.exchange.cells import Cell

Answer = Mapping[str, Any]
NOT_DELIVERED: Final = words.NOT_DELIVERED.partition("{")[0]
COSTS: Final = ("share", "to_spend", "paid", "delivered", "usual", "from_nothing")


@dataclass(frozen=True, slots=True)
class Options:
    """What the publisher shows. `columns` of COSTS (none: in this model and to spend; data
    forms add paid and delivered; `paid` False: no paid price in any).
    `usual`: regular price by listing, in the build's currency for one unit of sale;
    `on_sale`: listings whose price is a sale price; `names`: part keys as people call them.
    Without suppliers nothing names a shop or its page.
    """

    columns: tuple[str, ...] = ()
    suppliers: bool = True
    notes: bool = True
    paid: bool = True
    names: Mapping[str, str] = field(default_factory=dict)
    usual: Mapping[str, str] = field(default_factory=dict)
    on_sale: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if wrong := [column for column in self.columns if column not in COSTS]:
            raise InputError(f'no column "{wrong[0]}"; choose from {", ".join(COSTS)}')


@dataclass(frozen=True, slots=True)
class Row:
    """Cells by column key. `kind`: `line`, `sum` of a group, or `total`."""

    kind: str
    cells: Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A breakdown ready to be drawn: columns in order, rows, and what to say below."""

    title: str
    day: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    remarks: tuple[str, ...]
    costs: tuple[str, ...]


def _chosen(options: Options, otherwise: tuple[str, ...]) -> Options:
    columns = options.columns or otherwise
    return replace(options, columns=tuple(c for c in columns if c != "paid" or options.paid))


def for_people(answer: Answer, options: Options) -> Sheet:
    """Groups with their sums, amounts with their units, money as shown."""
    options = _chosen(options, COSTS[:2])
    columns = ["part", "amount", *options.columns]
    if options.suppliers:
        columns.insert(2, "supplier")
    rows: list[Row] = []
    for group in answer["groups"]:
        own = [line for line in answer["lines"] if line["group"] == group["group"]]
        rows += [Row("line", _people_line(line, options)) for line in own]
        rows.append(Row("sum", _sums(group, texts.SUBTOTAL.format(group=group["group"]), options)))
    rows.append(Row("total", _sums(answer["totals"], texts.TOTAL, options)))
    if any(row.cells.get("remark") for row in rows):
        columns.append("remark")
    return _sheet(answer, columns, rows, options)


def for_machines(answer: Answer, options: Options) -> Sheet:
    """One row a line with typed cells, and the total as the last row."""
    options = _chosen(options, COSTS[:4])
    shop = ["supplier", "listing"] if options.suppliers else []
    columns = ["group", "part", "amount", "unit", "counts", *shop, "sold_as", "price", "currency"]
    columns += ["buy", *options.columns, "status"] + (["remark"] if options.notes else [])
    rows = [Row("line", _machine_line(line, options)) for line in answer["lines"]]
    total = answer["totals"]
    state = texts.COMPLETE if total["complete"] else texts.AT_LEAST
    money = {key: _number(total.get(key)) for key in options.columns}
    last: dict[str, Cell] = {"group": texts.TOTAL, "currency": answer["currency"], "status": state}
    return _sheet(answer, columns, [*rows, Row("total", last | money)], options)


def _sheet(answer: Answer, columns: Sequence[str], rows: Sequence[Row], options: Options) -> Sheet:
    form = texts.DESTINATION if answer.get("destination") else texts.DAY
    day = form.format(
        day=answer["at"][:10], currency=answer["currency"], destination=answer.get("destination")
    )
    title = texts.TITLE.format(name=options.names.get(answer["build"], answer["build"]))
    remarks = tuple(_remarks(answer, options))
    return Sheet(title, day, tuple(columns), tuple(rows), remarks, options.columns)


def _people_line(line: Answer, options: Options) -> dict[str, Cell]:
    cells: dict[str, Cell] = {
        "part": _name(line, options),
        "amount": f"{line['amount']} {_unit(line)}",
        "supplier": line["supplier"] or "",
        "remark": _remark(line, options),
    }
    return cells | {key: _cost(line, key, options) or "" for key in options.columns}


def _unit(line: Answer) -> str:
    unit = str(line["unit"])
    return unit if line["amount"] == "1" else texts.MANY.get(unit, unit)


def _machine_line(line: Answer, options: Options) -> dict[str, Cell]:
    texts_kept = ("group", "unit", "counts", "supplier", "listing", "sold_as", "currency", "status")
    cells: dict[str, Cell] = {key: line[key] for key in texts_kept}
    cells |= {"part": _name(line, options), "remark": _remark(line, options) or None}
    cells |= {key: _number(line[key]) for key in ("amount", "price", "buy")}
    return cells | {key: _number(_cost(line, key, options)) for key in options.columns}


def _name(line: Answer, options: Options) -> str:
    return options.names.get(line["part"], line["part"])


def _cost(line: Answer, key: str, options: Options) -> str | None:
    value = line.get(key)
    if key == "usual" and value is None:
        value = options.usual.get(line["listing"])
    return None if value is None else str(value)


def _number(text: Any) -> Decimal | None:
    return None if text is None else Decimal(text)


def _remark(line: Answer, options: Options) -> str:
    """Sale, state and hint. A hint may name a shop, so it goes where shops go."""
    said = [texts.ON_SALE] if line["listing"] in options.on_sale else []
    state = texts.STATUS.get(line["status"], line["status"])
    if state:
        said.append(state.format(hours=line["age_hours"]))
    if options.notes and options.suppliers and line["hint"]:
        said.append(line["hint"])
    return "; ".join(said)


def _sums(sums: Answer, label: str, options: Options) -> dict[str, Cell]:
    cells: dict[str, Cell] = {"part": label}
    for key in options.columns:
        whole = sums["complete"] or key == "paid"  # what was paid lacks nothing
        whole = sums.get(f"{key}_complete", whole)
        cells[key] = _sum(sums.get(key), complete=whole)
        if key == "delivered" and sums.get(key) is None:
            cells[key] = texts.NOT_KNOWN  # null in all where a line's is not known
    return cells


def _sum(value: str | None, *, complete: bool) -> str:
    """`at least` before a sum that lacks a line; words where it lacks all of them."""
    if value is None or complete:
        return value or ""
    return f"{texts.AT_LEAST} {value}" if Decimal(value) else texts.NOT_KNOWN


def _remarks(answer: Answer, options: Options) -> list[str]:
    """What a reader must know: rates, what is missing, what is on sale, what is not counted."""
    said = [texts.SHARE] if "share" in options.columns else []
    said += [texts.TO_SPEND] if "to_spend" in options.columns else []
    said += [_delivered(answer)] if "delivered" in options.columns else []
    said += [texts.FROM_NOTHING] if "from_nothing" in options.columns else []
    said += _usual(answer, options) if "usual" in options.columns else []
    rates = _rates(answer)
    said += [texts.RATES.format(rates=", ".join(rates))] if rates else []
    missing = [options.names.get(part, part) for part in answer["missing"]]
    said += [texts.MISSING.format(parts=", ".join(missing))] if missing else []
    lines = [line for line in answer["lines"] if line["listing"] in options.on_sale]
    sales = dict.fromkeys(_name(line, options) for line in lines)
    said += [texts.SALES.format(parts=", ".join(sales))] if sales else []
    delivered = "delivered" in options.columns and answer["totals"].get("delivered")
    said.append(_not_counted(answer["lines"], delivered=bool(delivered)))
    said += [texts.CLAIMS, texts.CAUTION]
    return said + (_warnings(answer, options) if options.notes else [])


def _delivered(answer: Answer) -> str:
    """What it holds beside the goods, by name, all orders together."""
    sums: dict[str, Decimal] = {}
    for charge in (one for order in answer.get("orders", ()) for one in order["charges"]):
        sums[charge["name"]] = sums.get(charge["name"], Decimal(0)) + Decimal(charge["cost"])
    named = ", ".join(f"{name} {cost}" for name, cost in sums.items())
    charges = texts.CHARGES.format(charges=named) if named else ""
    return texts.DELIVERED.format(charges=charges)


def _usual(answer: Answer, options: Options) -> list[str]:
    """What the usual price is taken from, and of which parts it is not known."""
    said = [texts.USUAL.format(days=answer.get("usual_days", 90))]
    lines = [line for line in answer["lines"] if line["share"] is not None]
    lacking = dict.fromkeys(
        _name(line, options) for line in lines if _cost(line, "usual", options) is None
    )
    return said + ([texts.NO_USUAL.format(parts=", ".join(lacking))] if lacking else [])


def _not_counted(lines: Sequence[Answer], *, delivered: bool) -> str:
    """What no total holds; tools that are to be bought stand in what there is to spend."""
    left = [] if delivered else [texts.SHIPPING]
    tools = any(line["counts"] == "tool" for line in lines)
    left.append(texts.TOOLS_TO_SPEND if tools else texts.TOOLS)
    if all(line["unit"] != "h" for line in lines):
        left.append(texts.YOUR_HOURS)
    said = texts.NOT_COUNTED.format(what="; ".join(left))
    return f"{said} {texts.ESTIMATES}" if delivered else said


def _warnings(answer: Answer, options: Options) -> list[str]:
    """What the costing warns of; without suppliers none that names one."""
    shops = {line["supplier"] for line in answer["lines"] if line["supplier"]} | {"://"}
    found = [str(warning) for warning in answer["warnings"]]
    if "delivered" not in options.columns:
        found = [one for one in found if not one.startswith(NOT_DELIVERED)]
    return [one for one in found if options.suppliers or not any(shop in one for shop in shops)]


def _rates(answer: Answer) -> list[str]:
    """Six significant digits, as the reference rates are published, and their day."""
    target = answer["currency"]
    known = {
        line["currency"]: (
            plain(Context(prec=6).create_decimal(line["rate"])),
            texts.RATE_DAY.format(day=line["rate_day"]) if line.get("rate_day") else "",
        )
        for line in answer["lines"]
        if line["rate"] and line["currency"] != target
    }
    return [
        texts.RATE.format(source=source, rate=rate, target=target) + day
        for source, (rate, day) in sorted(known.items())
    ]
