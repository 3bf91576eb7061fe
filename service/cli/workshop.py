"""Commands about what is on hand and where it goes, and what a build might lack."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from service.cli.app import DONE, amount_text, book, db_option, json_option, say_json
from service.errors import InputError


@click.group("stock", invoke_without_command=True)
@click.option("--at", help="A past day; now without it.")
@json_option
@db_option
@click.pass_context
def stock_command(ctx: click.Context, at: str | None, *, as_json: bool) -> int:
    """What is on hand, on its way, running low and old, and where all the money is."""
    if ctx.invoked_subcommand is not None:
        return DONE
    from service.flows.stock import stock  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = stock(deps, at)
    if as_json:
        say_json(answer)
        return DONE
    from service.cli.show_workshop import show_stock  # noqa: PLC0415  start-up time

    show_stock(answer)
    return DONE


@stock_command.command("good")
@click.argument("part")
@click.option("--on", help="Day; today without it.")
@json_option
@db_option
def good_command(part: str, on: str | None, *, as_json: bool) -> int:
    """What there is of an aged PART is still good: count on it again."""
    from service.flows import workshop  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = workshop.still_good(deps, part, on=on)
    return _told(answer, f"{part}: still good on {answer['on']}", as_json=as_json)


@stock_command.command("offcut")
@click.argument("part")
@click.argument("size")
@click.option("--count", type=click.IntRange(0, 10_000), default=1, help="How many; 0: gone.")
@json_option
@db_option
def offcut_command(part: str, size: str, count: int, *, as_json: bool) -> int:
    """Bodies of PART of this SIZE (like "300 x 400 mm" or "450 mm") are left over."""
    from service.flows import workshop  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = workshop.set_offcut(deps, part, size, count)
    return _told(answer, f"{part}: {', '.join(answer['offcuts']) or 'no offcuts'}", as_json=as_json)


def _told(answer: Mapping[str, Any], text: str, *, as_json: bool) -> int:
    if as_json:
        say_json(answer)
    else:
        click.echo(text)
    for warning in answer["warnings"]:
        click.echo(f"warning: {warning}", err=True)
    return DONE


def _line(answer: Mapping[str, Any], where: str) -> str:
    taken, left = (amount_text(answer[name], answer["unit"]) for name in ("amount", "left"))
    worth = f"worth {answer['worth']} {answer['currency']}"
    return f"{taken} of {answer['part']} {where}, {worth}; {left} left on hand"


@click.command("use")
@click.argument("part", required=False)
@click.option("--amount", help='Like "150 g"; a bare number is of its own unit.')
@click.option("--build", required=True, help="The build that takes it.")
@click.option("--all", "whole", is_flag=True, help="All that its lines need and that is on hand.")
@click.option("--preview", is_flag=True, help="With --all: show it, keep nothing.")
@click.option("--scrap", help='With --all: shorter is no offcut, like "30 mm".')
@click.option("--repair", is_flag=True, help="A repair or upgrade, beside the build's cost.")
@click.option("--back", is_flag=True, help="The build puts it back on hand.")
@click.option("--on", help="Day; today without it.")
@click.option("--note", default="", help="A remark.")
@json_option
@db_option
def use_command(  # one option each
    part: str | None,
    amount: str | None,
    build: str,
    *,
    whole: bool,
    preview: bool,
    scrap: str | None,
    as_json: bool,
    **more: Any,
) -> int:
    """A build takes an amount of PART from hand, first in first out.

    With --all it takes what its lines (or those of PART) need and is on hand; what cut
    lists leave over becomes the offcuts on hand.
    """
    if whole:
        return _use_all(part, build, scrap, more["on"], preview=preview, as_json=as_json)
    if part is None or amount is None:
        raise InputError("name PART and --amount, or write --all for all that is on hand")
    from service.flows import workshop  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = workshop.use(deps, part, amount, build, **more)
    verb = "back from" if more["back"] else "into a repair of" if answer["repair"] else "into"
    return _told(answer, _line(answer, f"{verb} {build}"), as_json=as_json)


def _use_all(
    part: str | None,
    build: str,
    scrap: str | None,
    on: str | None,
    *,
    preview: bool,
    as_json: bool,
) -> int:
    from service.flows.taking import take_all  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = take_all(deps, build, part=part, on=on, scrap=scrap, preview=preview)
    from service.cli.show_workshop import taken_text  # noqa: PLC0415  start-up time

    return _told(answer, taken_text(answer), as_json=as_json)


@click.command("move")
@click.argument("part", required=False)
@click.option("--amount", help='Like "1 piece".')
@click.option("--from", "source", help="The build that gives it.")
@click.option("--to", required=True, help="The build that gets it; without PART a database URL.")
@click.option("--on", help="Day; today without it.")
@json_option
@db_option
def move_command(
    part: str | None,
    amount: str | None,
    source: str | None,
    to: str,
    on: str | None,
    *,
    as_json: bool,
) -> int:
    """Move an amount of PART from one build into another, at what it cost.

    Without PART: copy the whole book into the empty database at the URL behind --to.
    """
    if part is None and "://" in to:
        from service.cli.care import carry_book  # noqa: PLC0415  start-up time

        return carry_book(to)
    if part is None or amount is None or source is None:
        raise InputError(
            "a part moves with PART --amount AMOUNT --from BUILD --to BUILD, "
            "the whole book with --to URL"
        )
    from service.flows import workshop  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = workshop.move(deps, part, amount, source, to, on=on)
    return _told(answer, _line(answer, f"from {source} into {to}"), as_json=as_json)


@click.command("sell")
@click.argument("part")
@click.argument("money")
@click.option("--amount", required=True, help='Like "1 piece".')
@click.option("--build", help="Out of this build; from hand without it.")
@click.option("--postage", help="What sending it cost.")
@click.option("--on", help="Day; today without it.")
@json_option
@db_option
def sell_command(  # one option each
    part: str,
    money: str,
    amount: str,
    build: str | None,
    postage: str | None,
    on: str | None,
    *,
    as_json: bool,
) -> int:
    """Sold: an amount of PART for MONEY (like "20.00 EUR")."""
    from service.flows import workshop  # noqa: PLC0415  start-up time
    from service.model.money import parse_money  # noqa: PLC0415  start-up time

    sent = parse_money(postage) if postage else None
    with book() as deps:
        answer = workshop.sell(
            deps, part, amount, parse_money(money), build=build, postage=sent, on=on
        )
    return _told(answer, _line(answer, f"sold for {money}"), as_json=as_json)


@click.command("write-off")
@click.argument("part")
@click.option("--amount", required=True, help='Like "1 piece".')
@click.option("--build", help="Out of this build; from hand without it.")
@click.option("--on", help="Day; today without it.")
@click.option("--note", default="", help="What happened.")
@json_option
@db_option
def write_off_command(
    part: str, amount: str, build: str | None, on: str | None, note: str, *, as_json: bool
) -> int:
    """Broken, lost or gone off: an amount of PART, from hand or out of a build."""
    from service.flows import workshop  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = workshop.write_off(deps, part, amount, build=build, on=on, note=note)
    return _told(answer, _line(answer, "written off"), as_json=as_json)


@click.group("companion")
def companion_command() -> None:
    """What a build might lack: add it, or dismiss the hint once."""


@companion_command.command("list")
@click.argument("build")
@json_option
@db_option
def list_command(build: str, *, as_json: bool) -> int:
    """What BUILD might lack and why, with parts of the catalogue that would do."""
    from service.flows import companions  # noqa: PLC0415  start-up time

    with book() as deps:
        found = companions.lacking(deps, build)
    if as_json:
        say_json(found)
        return DONE
    for hint in found:
        parts = f"; add {' or '.join(hint['candidates'])}" if hint["candidates"] else ""
        click.echo(f"{hint['rule']}: {hint['part']} may lack {hint['lacks']}: {hint['why']}{parts}")
    if not found:
        click.echo("nothing that the program knows of")
    return DONE


@companion_command.command("add")
@click.argument("build")
@click.argument("rule")
@click.option("--part", help="Which part; the only one that answers the rule without it.")
@click.option("--amount", default="1", show_default=True, help="How much of it.")
@click.option("--group", default="", help="Group of the new line; that of what asks without it.")
@json_option
@db_option
def add_command(
    build: str, rule: str, part: str | None, amount: str, group: str, *, as_json: bool
) -> int:
    """Add what RULE asks for as a line of BUILD."""
    from service.flows import companions  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = companions.add(deps, build, rule, part=part, amount=amount, group=group)
    say_json(answer) if as_json else click.echo(f"{build}: {answer['part']} added")
    return DONE


@companion_command.command("dismiss")
@click.argument("build")
@click.argument("rule")
@json_option
@db_option
def dismiss_command(build: str, rule: str, *, as_json: bool) -> int:
    """BUILD does not need what RULE asks for; it is not said again."""
    from service.flows import companions  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = companions.dismiss(deps, build, rule)
    say_json(answer) if as_json else click.echo(f"{build}: {rule} is not said again")
    return DONE


@companion_command.command("rules")
@click.argument("file", type=click.Path(path_type=Path))
@db_option
def rules_command(file: Path) -> int:
    """Take over your own rules (TOML): an id replaces a rule, "off = true" removes it."""
    from service.flows import companions  # noqa: PLC0415  start-up time

    try:
        text = file.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{file}: cannot be read: {error}") from None
    with book() as deps:
        companions.own_rules(deps, text)
    click.echo(f"{file}: rules taken over")
    return DONE
