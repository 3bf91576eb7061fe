"""Orders, the workshop and versions for people: tables in the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.cli.app import amount_text
from service.cli.show import cell, plain_table, print_plain

Row = Mapping[str, Any]


def show_order(answer: Row) -> None:
    """Its lines with their states, its bills, how far the estimate was off."""
    supplier = f" at {answer['supplier']}" if answer["supplier"] else ""
    print_plain(f"order {answer['order']}{supplier}, {answer['on'] or 'day not known'}")
    table = plain_table(
        ("part", "left"), ("count", "right"), ("total", "right"), ("", "left"), ("", "left")
    )
    for line in answer["lines"]:
        total = f"{line['total']} {line['currency']}"
        cells = (line["part"], line["count"], total, line["state"], _where(line))
        table.add_row(*map(cell, cells))
    print_plain(table)
    for bill in answer["bills"]:
        note = f" ({bill['note']})" if bill["note"] else ""
        print_plain(f"{bill['kind']} {bill['cost']} {bill['currency']}, {bill['on']}{note}")
    if answer["total"]:
        print_plain(f"together {answer['total']}")
    if answer["estimate"]:
        print_plain(f"estimated later costs {answer['estimate']}")
    if answer["estimate_error"]:
        print_plain(f"bills came to {answer['late_bills']}, off by {answer['estimate_error']}")
    for warning in answer["warnings"]:
        print_plain(f"warning: {warning}")


def _where(line: Row) -> str:
    names = ("arrived", "coming", "wrong", "returned", "cancelled")
    words = {"coming": "on its way"}
    found = [f"{line[name]} {words.get(name, name)}" for name in names if line[name] != "0"]
    found += [f"{money} back" for money in line["refunds"]]
    return ", ".join(found)


def show_stock(answer: Row) -> None:
    """On hand, on its way, running low, and where the money is."""
    for key, title in (("on_hand", "on hand"), ("coming", "on its way")):
        table = plain_table(
            (title, "left"), ("amount", "right"), ("cost", "right"), ("since", "left"), ("", "left")
        )
        for row in answer[key]:
            cost = f"{row['cost']} {answer['currency']}"
            amount = amount_text(row["amount"], row["unit"])
            cells = (row["part"], amount, cost, row["oldest"], _remarks(row))
            table.add_row(*map(cell, cells))
        print_plain(table if answer[key] else f"nothing {title}", "")
    for row in answer["low"]:
        print_plain(
            f"low: {row['part']}, keep {row['keep']}, {row['on_hand']} on hand and "
            f"{row['coming']} on its way: {row['lacking']} {row['unit']} to order"
        )
    for row in answer["builds"]:
        print_plain(
            f"{row['build']} took {row['cost']} {answer['currency']}, repairs {row['repairs']}"
        )
    places = [f"{name.replace('_', ' ')} {sum_}" for name, sum_ in answer["money"].items()]
    print_plain(f"money ({answer['currency']}): {', '.join(places)}")
    for warning in answer["warnings"]:
        print_plain(f"warning: {warning}")


def _remarks(row: Row) -> str:
    found = [f"offcuts {', '.join(row['offcuts'])}"] if row["offcuts"] else []
    if row["aged"]:
        found.append(f"{row['aged']} past its shelf life, not counted on")
    if row["orders"]:
        found.append(f"order {', '.join(row['orders'])}")
    return "; ".join(found)


def show_versions(answer: Row) -> None:
    """Each pair by group, what changed, and what would be cheaper."""
    currency = answer["currency"]
    for pair in answer["comparisons"]:
        print_plain(f"{pair['before']} beside {pair['after']}, in {currency}")
        print_plain(_groups_table(pair))
        for change in filter(_told, pair["changes"]):
            print_plain(
                f"  {change['part']}: {change['before'] or 'not there'} -> "
                f"{change['after'] or 'not there'}, {_signed(change['share'])}"
            )
        least = "" if pair["complete"] else "at least, as prices lack: "
        mass = f", {pair['mass']} g" if pair["mass"] is not None else ""
        print_plain(f"{least}in this model {pair['share']}, to spend {pair['to_spend']}{mass}", "")
    if not answer["comparisons"]:
        print_plain(f"{answer['build']} has no versions: name another build to compare with")
    for one in answer["proposals"]:
        note = f" ({one['note']})" if one["note"] else ""
        print_plain(
            f"cheaper: {one['part']} instead of {one['instead_of']}{note} saves "
            f"{one['saves_share']} in this model, {one['saves_to_spend']} to spend"
        )


def _told(change: Row) -> bool:
    """Not what only is on hand for one of the two."""
    return change["before"] != change["after"] or Decimal(change["share"] or 0) != 0


def _groups_table(pair: Row) -> Any:
    """Cost and mass by group; the mass where any is known."""
    both = ("before", "after")
    weighed = any((group[x] or {}).get("mass") for group in pair["groups"] for x in both)
    shown = [(x, key) for key in ("share", *(["mass"] if weighed else [])) for x in both]
    heads = [(pair[x] if key == "share" else f"{pair[x]}, g", "right") for x, key in shown]
    table = plain_table(("", "left"), *heads)
    for group in pair["groups"]:
        table.add_row(cell(group["group"]), *(cell((group[x] or {}).get(key)) for x, key in shown))
    sums = [_summed(pair["groups"], x, key) for x, key in shown]
    table.add_row("in all", *map(cell, sums))
    return table


def _summed(groups: Sequence[Row], side: str, figure: str) -> str | None:
    """A column's sum; None where it holds nothing."""
    values = [Decimal(x) for group in groups if (x := (group[side] or {}).get(figure)) is not None]
    return f"{sum(values, Decimal(0)):f}" if values else None


def _signed(change: str | None) -> str | None:
    return f"+{change}" if change and Decimal(change) > 0 else change


def taken_text(answer: Row) -> str:
    """What a build takes in one step, how its bars are cut, and what it does not take."""
    lines, rest = [], []
    for row in answer["lines"]:
        if row["amount"] == "0":
            rest.append(f"not taken: {row['part']}, {row['note']}")
            continue
        left = [] if row["offcuts"] is None else [f"offcuts {', '.join(row['offcuts']) or 'none'}"]
        found = [
            f"{amount_text(row['amount'], row['unit'])} of {row['part']}",
            *left,
            row["note"],
        ]
        lines += ["; ".join(filter(None, found)), *(f"  {bar}" for bar in row["layout"])]
    verb = "would go" if answer["preview"] else "gone"
    worth = "" if answer["preview"] else f", worth {answer['worth']} {answer['currency']}"
    last = f"{verb} into {answer['build']}{worth}" if lines else f"nothing {verb}"
    return "\n".join([*lines, last, *rest])
