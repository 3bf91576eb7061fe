"""A build's cost in the terminal: lines, groups and totals that add up, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from rich.text import Text

from service.builds.texts import age_text
from service.cli.app import amount_text
from service.cli.show import cell, plain_table, print_plain

Row = Mapping[str, Any]
ALWAYS = ("share", "buy", "to_spend")
IF_ANY = ("paid", "delivered", "mass")
HEADS = {
    "share": "in this model",
    "buy": "buy",
    "to_spend": "to spend",
    "paid": "paid",
    "delivered": "delivered",
    "mass": "g",
}


def show_cost(answer: Row) -> None:
    """The table, the totals side by side, then the reason for every line."""
    figures = [*ALWAYS, *(name for name in IF_ANY if _is_known(answer, name))]
    heads = [(HEADS[name], "right") for name in figures]
    texts = [("part", "left"), ("amount", "right"), ("from", "left"), ("sold as", "right")]
    table = plain_table(*texts, ("price", "right"), *heads, ("", "left"), wrap=False)
    for group in answer["groups"]:
        table.add_row(Text(group["group"], style="bold"))
        for line in answer["lines"]:
            if line["group"] == group["group"]:
                table.add_row(*_line(line, figures))
        sums = [cell("" if name == "buy" else group[name]) for name in figures]
        table.add_row("", "", "", "", "", *sums)
    print_plain(f"{answer['build']} at {answer['at']}, in {answer['currency']}", table)
    print_plain(*_totals(answer), *_orders(answer), *_grounds(answer["lines"]), *_notes(answer))


def _is_known(answer: Row, name: str) -> bool:
    """A line of what is not known in all: its column says of which lines it is."""
    lines = (line for line in answer["lines"] if line["to_spend"] not in (None, "0.00", "0"))
    return answer["totals"][name] is not None or any(line[name] is not None for line in lines)


def _line(line: Row, figures: Sequence[str]) -> list[Text]:
    price = f"{line['price']} {line['currency']}" if line["price"] else None
    amount = amount_text(line["amount"], line["unit"])
    cells = (line["part"], amount, line["supplier"], line["sold_as"], price)
    return list(map(cell, (*cells, *(line[name] for name in figures), _state(line))))


def _state(line: Row) -> str:
    if line["status"] == "stale":
        return f"stale, {age_text(line['age_hours'])}"
    counts = "" if line["counts"] == "share" else line["counts"]
    status = "" if line["status"] == "priced" else line["status"].replace("_", " ")
    return ", ".join(dict.fromkeys(word for word in (counts, status) if word))


def _totals(answer: Row) -> list[str]:
    totals, currency = answer["totals"], answer["currency"]
    least = "" if totals["complete"] else "at least "
    said = [f"{HEADS[name]} {least}{totals[name]} {currency}" for name in ("share", "to_spend")]
    if totals["delivered"]:
        said.append(f"delivered {least}{totals['delivered']} {currency}")
    found = [", ".join(said)]
    if totals["paid"]:
        spent = f", spent {totals['spent']} {currency}" if totals["spent"] else ""
        found.append(f"paid so far {totals['paid']} {currency}{spent}")
    return [*found, *_budget(answer)]


def _budget(answer: Row) -> list[str]:
    """How far the totals are from what the builder set, and by when."""
    day, limit = answer.get("need_by"), answer.get("budget")
    until = [f"needed by {day}"] if day else []
    if limit is None:
        return until
    said = [f"budget {limit} {answer['currency']}"]
    whole = answer["totals"]["complete"]
    for name in ("share", "to_spend"):
        over = Decimal(answer["totals"][name]) - Decimal(limit)
        said.append(f"{HEADS[name]} {_beside(over, whole=whole)}")
    return ["; ".join([*said, *until])]


def _beside(over: Decimal, *, whole: bool) -> str:
    """Where a total lies; one that lacks a price is at least so much."""
    if over >= 0:
        least = "" if whole else "at least "
        return f"{least}{over} above it" if over else f"{least}just that"
    return f"{'' if whole else 'at most '}{-over} below it"


def _orders(answer: Row) -> list[str]:
    """What each order costs beside its goods, by name."""
    found = []
    for order in answer["orders"]:
        charges = "".join(f", {one['name']} {one['cost']}" for one in order["charges"])
        whole = f": {order['delivered']} {answer['currency']}" if order["delivered"] else ""
        if whole:
            found.append(f"order at {order['supplier']}: goods {order['goods']}{charges}{whole}")
    return found


def _grounds(lines: Sequence[Row]) -> list[str]:
    """The rule where one rule chose all; each line's own where several did, and its hint."""
    rules = list(dict.fromkeys(line["rule"] for line in lines if line["listing"]))
    found = [f"rule: {rules[0]}"] if len(rules) == 1 else []
    for line in lines:
        own = line["rule"] if len(rules) > 1 or (line["rule"] and not line["listing"]) else None
        said = "; ".join(word for word in (own, line["hint"]) if word)
        if said:
            found.append(f"{line['part']}: {said}")
    return found


def _notes(answer: Row) -> list[str]:
    found = [f"without a price: {', '.join(answer['missing'])}"] if answer["missing"] else []
    found += [
        f"may lack: {item['lacks']} for {item['part']}: {item['why']} ({item['rule']})"
        for item in answer["companions"]
    ]
    found += [f"{item['level']}: {item['text']}: {item['sum']}" for item in answer["fit"]]
    found += [f"note: {warning}" for warning in answer["warnings"]]
    return found + [f"caution: {caution}" for caution in answer.get("cautions", ())]
