"""The command about a build's cost over time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

import click

from service.cli.app import DONE, book, db_option, json_option, say_json


@click.command("index")
@click.argument("build")
@click.option("--since", help="From this day on; a year back without it.")
@json_option
@db_option
def index_command(build: str, since: str | None, *, as_json: bool) -> int:
    """How the cost of BUILD's parts moved, and which of them moved it."""
    from service.flows.index import index  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = index(deps, build, since)
    if as_json:
        say_json(answer)
    else:
        _show(answer)
    return DONE


def _show(answer: Mapping[str, Any]) -> None:
    """What the basket cost then and now, which part moved it, and the course between."""
    from service.cli.course import draw  # noqa: PLC0415  start-up time
    from service.cli.show import plain_table, print_plain  # noqa: PLC0415  start-up time

    currency = answer["currency"]
    print_plain(f"{answer['name']}: {answer['words']}")
    if not answer["points"]:
        return
    print_plain(f"{answer['then']} {currency} then, {answer['now']} {currency} now")
    course = [
        (datetime.fromisoformat(point["at"]), 100 * float(point["index"]))
        for point in answer["points"]
    ]
    print_plain(*draw(iter([course]), "index").splitlines())
    rows = plain_table(("part", "left"), ("change", "right"), ("of the cost then, %", "right"))
    moved = sorted(answer["contributions"], key=lambda row: -abs(Decimal(row["change"])))
    for row in moved:
        rows.add_row(row["name"], row["change"], row["points"])
    print_plain(rows)
    for name, words in (("carried", "at an old price"), ("missing", "without a price, left out")):
        if answer[name]:
            print_plain(f"{words}: {', '.join(answer[name])}")
    told = (f"{name} {value}" for name, value in answer["formulas"].items() if value)
    print_plain(f"as ratios: {', '.join(told)}")
