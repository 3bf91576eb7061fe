"""An order plan in the terminal: order by order, then who owes what and what else there is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from service.cli.show import cell, plain_table, print_plain

Row = Mapping[str, Any]


def show_plan(answer: Row) -> None:
    """Orders with their lines and charges, the total and its proof, then the rest."""
    currency, totals = answer["currency"], answer["totals"]
    for order in answer["orders"]:
        _order(order, currency)
    least = "" if totals["complete"] else "at least "
    if answer["orders"]:
        print_plain(
            f"goods {totals['goods']}, charges {totals['charges']}, "
            f"together {least}{totals['total']} {currency}",
            answer["proof"]["text"],
        )
    else:
        print_plain("nothing to order")
    print_plain(*_lacking(answer), *_people(answer), *_others(answer), *_notes(answer))


def _order(order: Row, currency: str) -> None:
    where = f" ({order['country']})" if order["country"] else ""
    lines = plain_table(
        ("count", "right"),
        ("sold as", "right"),
        ("part", "left"),
        ("price", "right"),
        (currency, "right"),
        ("for", "left"),
    )
    for line in order["lines"]:
        price = f"{line['price']} {line['currency']}"
        parts = ", ".join(line["parts"])
        cells = (line["count"], line["sold_as"], parts, price, line["cost"], _served(line))
        lines.add_row(*map(cell, cells))
    print_plain(f"{order['name']}{where}", lines, *_charges(order, currency))


def _served(line: Row) -> str:
    who = [f"{row['for']}'s {row['build']}" if row["for"] else row["build"] for row in line["for"]]
    return ", ".join(dict.fromkeys(name or "shelf" for name in who))


def _charges(order: Row, currency: str) -> Iterator[str]:
    if order["shipping"]:
        yield f"  delivery {order['shipping']['cost']} ({order['shipping']['row']})"
    for charge in order["charges"]:
        if charge["name"] != "shipping":
            yield f"  {charge['name']} {charge['cost']}"
    border = order["import"]
    if border and border["total"]:
        yield (
            f"  to the shop {order['to_supplier']}, at the border about {border['total']} "
            f"(duty {border['duty']}, tax {border['tax']}, carrier {border['handling']})"
        )
    if border:
        yield f"  {border['estimate']}"
    least = "" if order["complete"] else "at least "
    yield f"  order {least}{order['total']} {currency}"
    yield from (f"  not known: {why}" for why in order["unknown"])
    yield from (f"  note: {note}" for note in order["notes"])
    for remark in order["remarks"]:
        yield f"  {', '.join(remark['parts'])}: {remark['note']}"
    yield f"  booked by: {order['place']}"


def _lacking(answer: Row) -> Iterator[str]:
    for row in answer["lacking"]:
        where = f" for {row['build']}" if row["build"] else ""
        yield f"in no order: {row['part']}{where}: {row['why']}"
    if answer["covered"]:
        yield f"lines that need nothing bought: {answer['covered']}"


def _people(answer: Row) -> Iterator[str]:
    if len(answer["shares"]) > 1:
        for row in answer["shares"]:
            who = f"{row['for']}: " if row["for"] else ""
            goods, charges = row["goods"], row["charges"]
            yield f"{who}{row['name']} {row['total']} (goods {goods}, charges {charges})"
    yield from (f"{row['for']} owes {row['total']}" for row in answer["people"])


def _others(answer: Row) -> Iterator[str]:
    whole = [row for row in answer["others"] if row["kind"] == "all from"]
    for row in answer["others"]:
        if row["total"] is not None:
            least = "" if row["complete"] else "at least "
            sign = "" if row["more"].startswith("-") else "+"
            yield f"{row['text']}: {least}{row['total']} ({sign}{row['more']})"
        elif row["kind"] != "all from":
            yield f"{row['text']}: {row['why']}"
    if whole and all(row["total"] is None for row in whole):
        near = min(whole, key=lambda row: len(row["lacks"]))
        yield f"{near['text']} comes nearest to one order: {near['why']}"
    yield from (row["note"] for row in answer["pays_below"])


def _notes(answer: Row) -> Iterator[str]:
    yield from (f"note: {note}" for note in answer["notes"])
    yield from (f"caution: {text}" for text in answer["cautions"])
