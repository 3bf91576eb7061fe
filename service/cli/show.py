"""Answers for people: tables in the terminal. rich is loaded only here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from service.cli.app import REASONS

Row = Mapping[str, Any]


def plain_table(*columns: tuple[str, str], wrap: bool = True) -> Table:
    """A table with a heading for each column: its name, and `left` or `right`."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name, justify in columns:
        right = justify == "right"
        table.add_column(name, justify="right" if right else "left", no_wrap=right or not wrap)
    return table


def cell(value: Any) -> Text:
    """Plain text: what a page says is never taken as markup or as control codes."""
    if value is None:
        return Text("-")
    text = "".join(c if c.isprintable() else " " for c in str(value))
    return Text(text)


def print_plain(*things: Any) -> None:
    """Lines and tables, as plain text."""
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = 160  # a file or a pipe has no edge to keep to
    for thing in things:
        if isinstance(thing, Table):
            console.print(thing)
        else:  # the terminal breaks a long line, so that a command in it can be copied whole
            console.print(cell(thing), soft_wrap=True)


_SUMS = ("list_price", "low", "high")


def show_reading(answer: Row) -> None:
    """What was read, where it stood, and what spoke against it."""
    price = f"{answer['price']} {answer['currency']}" if answer["price"] else "no price"
    print_plain(f"{answer['page']}", f"{answer['outcome']}: {price}")
    if answer["reason"]:
        print_plain(f"reason: {REASONS.get(answer['reason'], answer['reason'])}")
    table = plain_table(("what", "left"), ("read as", "left"))
    for name in ("title", "list_price", "low", "high", "availability", "tax", "sold_as"):
        if answer.get(name) not in (None, "unknown"):
            money = f" {answer['currency']}" if name in _SUMS and answer["currency"] else ""
            table.add_row(name.replace("_", " "), cell(f"{answer[name]}{money}"))
    for name in ("multibuy", "choices"):
        for item in answer.get(name) or ():
            table.add_row(name, cell(", ".join(f"{v}" for v in item.values() if v is not None)))
    evidence = plain_table(
        *((name, "left") for name in ("reader", "field", "as it stood", "where"))
    )
    for item in answer["evidence"]:
        evidence.add_row(*(cell(item[key]) for key in ("reader", "field", "value", "where")))
    print_plain(*(shown for shown in (table, evidence) if shown.row_count), "")


def show_deals(answer: Sequence[Row]) -> None:
    """Open deals with their evidence, then past ones."""
    if not answer:
        print_plain("No target is met, and none was so far.")
    for deal in answer:
        price = f"{deal['price']} {deal['currency']}" if deal["price"] else "available"
        ended = f", closed {deal['closed_at']}: {deal['close_reason']}" if deal["closed_at"] else ""
        print_plain(f"{deal['state']}: {deal['subject']} {price} ({deal['condition']})")
        print_plain(f"  since {deal['opened_at']}{ended}")
        if deal["listing"]:
            print_plain(f"  at {deal['listing']}")
        if doubt := deal["doubt"]:
            read = f"{doubt['price']} {doubt['currency']}" if doubt["price"] else "no one price"
            print_plain(f"  held back since: {read} ({doubt['reason']})")
        for item in deal["evidence"]:
            if item["field"] in ("price", "list_price", "availability", "share"):
                told = f'"{item["value"]}" by {item["reader"]} at {item["where"]}'
                print_plain(f"  {item['field']} {told}")


def show_history(answer: Row) -> None:
    """Statistics, advice and the last spells of a part or listing."""
    from service.cli.course import spell_chart  # noqa: PLC0415  beside its only use

    stats, span = answer["stats"], answer["span"]
    print_plain(f"{answer['subject']}: seen from {_minute(span['from'])} to {_minute(span['to'])}")
    table = plain_table(("", "left"), ("price", "right"))
    for name, words in _STAT_WORDS.items():
        table.add_row(words, cell(stats.get(name)))
    print_plain(table)
    chart = answer.get("spells") or []
    for listing in dict.fromkeys(spell["listing"] for spell in chart):
        own = [spell for spell in chart if spell["listing"] == listing]
        if len(own) > 1:
            print_plain(listing, *spell_chart(own).splitlines())
    print_plain(_spells(chart))
    print_plain(*(fact["text"] for fact in answer["calendar"]))
    if verdict := answer["discount"]["verdict"]:
        print_plain(f"discount: {verdict}, {_rests_on(answer['discount'])}")
        print_plain(f"  {_discount_words(answer['discount'])} (for information, no legal advice)")
    advice = answer["advice"]
    print_plain(f"advice: {advice['verdict']}", *(f"  {reason}" for reason in advice["reasons"]))


def _spells(spells: Sequence[Row]) -> Table:
    """The last twelve; which page each is of, where there are several."""
    several = len({spell["listing"] for spell in spells}) > 1
    heads = ("", "stock", "first seen", "last seen", *(("at",) if several else ()))
    table = plain_table(("price", "right"), *((head, "left") for head in heads), wrap=False)
    for spell in spells[-12:]:
        times = (_minute(spell["first_seen"]), _minute(spell["last_seen"]))
        cells = [spell["price"], spell["currency"], spell["availability"], *times]
        table.add_row(*map(cell, cells + [spell["listing"]] * several))
    return table


def _minute(time: str | None) -> str:
    """`2026-11-24T18:00:00Z` -> `2026-11-24 18:00`, UTC."""
    return time[:16].replace("T", " ") if time else "never"


def _rests_on(discount: Row) -> str:
    seen = f"by {discount['readings']} readings over {discount['days']} days"
    if discount["real_percent"] is None:
        return seen
    claim = discount["claimed_percent"]
    claimed = f", the page claims {claim} %" if claim is not None else ""
    real = discount["real_percent"]
    side = f"{real[1:]} % above" if real.startswith("-") else f"{real} % below"
    return f"{side} the prior price{claimed}, {seen}"


def _discount_words(discount: Row) -> str | None:
    from decimal import Decimal  # noqa: PLC0415  beside its only use

    from service.prices.discount import Discount, Verdict, discount_words  # noqa: PLC0415

    real, claimed = (
        None if discount[name] is None else Decimal(discount[name])
        for name in ("real_percent", "claimed_percent")
    )
    verdict, seen = Verdict(discount["verdict"]), discount["readings"]
    return discount_words(
        Discount(None, None, real, claimed, verdict, readings=seen, days=discount["days"])
    )


def show_rows(preview: Row) -> None:
    """What is understood of a parts list, row by row."""
    table = plain_table(
        *((head, "left") for head in ("row", "part", "amount", "group", "counts", ""))
    )
    for row in preview["rows"]:
        told = "; ".join([*row["problems"], *row["hints"]]) or ("new part" if row["new"] else "")
        cells = (row["row"], row["part"] or row["name"], row["amount"], row["group"], row["counts"])
        table.add_row(*map(cell, (*cells, told)))
    print_plain(table)
    if preview["unused"]:
        print_plain(f"columns not used: {', '.join(preview['unused'])}")


_STAT_WORDS = {
    "now": "now",
    "low_30d": "lowest, 30 days",
    "low_90d": "lowest, 90 days",
    "low_365d": "lowest, 365 days",
    "low_ever": "lowest ever",
    "high_ever": "highest ever",
    "median_90d": "usual, 90 days (median)",
    "regular": "regular price",
}
