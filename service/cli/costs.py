"""Commands about builds and deals."""

from __future__ import annotations

from pathlib import Path

import click

from service.cli.app import DONE, PARTLY, book, db_option, json_option, say_json

FILE = click.Path(path_type=Path)
FORMATS = ("csv", "xlsx", "md", "bbcode", "html", "png")


def _outputs(command: click.decorators.FC) -> click.decorators.FC:
    for name in reversed(FORMATS):
        command = click.option(f"--{name}", type=FILE, help=f"Write {name.upper()} to a file.")(
            command
        )
    return command


@click.command("reprice")
@click.argument("build")
@click.option("--at", help="A past day (its last instant) or time; now without it.")
@_outputs
@json_option
@db_option
def reprice_command(build: str, at: str | None, *, as_json: bool, **files: Path | None) -> int:
    """What BUILD costs, line by line, at today's or any past day's prices."""
    from service.flows import ask  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = ask.reprice(deps, build, at=at)
    wanted = {name: path for name, path in files.items() if path}
    for name, path in wanted.items():
        from service.exchange.breakdown import write_breakdown  # noqa: PLC0415  start-up time

        write_breakdown(answer, name, path)
        click.echo(f"{path} written", err=True)
    if as_json:
        say_json(answer)
    elif not wanted:
        from service.cli.show import show_cost  # noqa: PLC0415  start-up time

        show_cost(answer)
    return DONE


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
        for one in problems:
            click.echo(f"{one['what']}: {one['problem']}; {one['do']}")
        click.echo(f"{len(problems)} to look at" if problems else "nothing is wrong")
    return PARTLY if problems else DONE
