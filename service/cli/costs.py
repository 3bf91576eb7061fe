"""Commands about builds and deals."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.cli.app import DONE, PARTLY, book, db_option, json_option, say_json
from service.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from service.flows.ports import Deps
    from service.flows.publish import Wish

FILE = click.Path(path_type=Path)
FORMATS = ("csv", "xlsx", "md", "bbcode", "html", "png")
RULES = ("cheapest", "least-spend")
SHOWN = ("suppliers", "paid", "notes")


def _outputs(command: click.decorators.FC) -> click.decorators.FC:
    for name in reversed(FORMATS):
        command = click.option(f"--{name}", type=FILE, help=f"Write {name.upper()} to a file.")(
            command
        )
    return command


@click.command("reprice")
@click.argument("build")
@click.option("--at", help="A past day (its last instant) or time; now without it.")
@click.option(
    "--rule",
    type=click.Choice(RULES),
    default="cheapest",
    help="Which listing counts: cheapest per unit, or least to spend now.",
)
@click.option("--currency", help="Show it in another currency, like GBP.")
@click.option("--country", help="As delivered to another country, like DE.")
@_outputs
@click.option(
    "--columns",
    help="Costs in the files: share,to_spend,paid,delivered,usual,from_nothing.",
)
@click.option("--without", help="Leave out of the files: suppliers,paid,notes.")
@json_option
@db_option
def reprice_command(  # one option each
    build: str,
    at: str | None,
    rule: str,
    currency: str | None,
    country: str | None,
    columns: str | None,
    without: str | None,
    *,
    as_json: bool,
    **files: Path | None,
) -> int:
    """What BUILD costs, line by line, at today's or any past day's prices."""
    from service.flows import publish  # noqa: PLC0415  start-up time

    wish = publish.read_wish(at, rule, currency, country)
    wanted = {name: path for name, path in files.items() if path}
    with book() as deps:
        if wanted:
            _write(deps, build, wish, wanted, _shown(columns, without))
        elif columns or without:
            raise InputError("--columns and --without are for files; name one, like --md FILE")
        if wanted and not as_json:
            return DONE
        answer = publish.reprice(deps, build, wish)
    if as_json:
        say_json(answer)
    else:
        from service.cli.show_cost import show_cost  # noqa: PLC0415  start-up time

        show_cost(answer)
    return DONE


def _shown(columns: str | None, without: str | None) -> dict[str, Any]:
    """The publisher's choice as the fields of `Options`."""
    gone = _words(without)
    if wrong := [word for word in gone if word not in SHOWN]:
        raise InputError(f'--without: "{wrong[0]}" is none of {", ".join(SHOWN)}')
    return {"columns": tuple(_words(columns))} | {name: name not in gone for name in SHOWN}


def _words(text: str | None) -> list[str]:
    return [word.strip() for word in (text or "").split(",") if word.strip()]


def _write(
    deps: Deps, build: str, wish: Wish, wanted: dict[str, Path], shown: dict[str, Any]
) -> None:
    from service.exchange.breakdown import Options, write_breakdown  # noqa: PLC0415
    from service.flows.publish import published  # noqa: PLC0415  start-up time

    Options(**shown)  # a wrong column is told before anything is priced
    found = published(deps, build, wish)
    for name, path in wanted.items():
        names = {} if name == "csv" else found.names  # data go by keys, as in the JSON
        options = Options(**shown, names=names, on_sale=found.on_sale)
        write_breakdown(found.answer, name, path, options)
        if str(path) != "-":
            click.echo(f"{path} written", err=True)


@click.command("deals")
@json_option
@db_option
def deals_command(*, as_json: bool) -> int:
    """Targets that are met now, and past episodes, each with its evidence."""
    from service.flows import ask  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = ask.deals(deps)
    if as_json:
        say_json(answer)
        return DONE
    from service.cli.show import show_deals  # noqa: PLC0415  start-up time

    show_deals(answer)
    return DONE


@click.command("check")
@json_option
@db_option
def check_command(*, as_json: bool) -> int:
    """What is wrong with the book, and what to do about it."""
    from service.flows import check  # noqa: PLC0415  start-up time

    with book() as deps:
        problems = check.check(deps)
    if as_json:
        say_json(problems)
    else:
        for one in _gathered(problems):
            click.echo(f"{one['what']}: {one['problem']}; {one['do']}")
        click.echo(f"{len(problems)} to look at" if problems else "nothing is wrong")
    return PARTLY if problems else DONE


def _gathered(problems: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Pages that were never read are one line, however many a new catalogue brings."""
    new = "no price yet"
    poll = 'run: ebbmark poll "{what}"'
    fresh = [x for x in problems if (x["problem"], x["do"]) == (new, poll.format(**x))]
    if len(fresh) < 2:
        return list(problems)
    told = {"what": f"{len(fresh)} pages", "problem": new, "do": "run: ebbmark poll"}
    rest = [x for x in problems if x not in fresh]
    return [*rest, told]
