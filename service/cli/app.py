"""The command group: finds a command's module, opens the book, turns errors into exits."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

import click

from scrapers import ScrapeError
from service import __version__
from service.cli import COMMANDS, help_text
from service.errors import ServiceError

if TYPE_CHECKING:
    from service.flows.ports import Deps
    from service.settings import Settings

DONE, PARTLY, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130
REASONS = {  # what short codes of visits and readings mean to people
    "missing": "no such page (404)",
    "choice needed": "choice needed: name the one you mean as the listing's `choice`",
}
P = ParamSpec("P")
R = TypeVar("R")


class LazyGroup(click.Group):
    """Imports a command's module only when that command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All of them, in the order of the help text."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """None for a name that does not exist."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module = import_module(COMMANDS[cmd_name][0])
        command: click.Command = getattr(module, f"{cmd_name.replace('-', '_')}_command")
        return command

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The same text as the quick way."""
        del ctx
        formatter.write(help_text())


@click.group(cls=LazyGroup)
@click.option("--db", metavar="URL", help="Database URL.")
@click.version_option(__version__, prog_name="ebbmark", message="%(prog)s %(version)s")
@click.pass_context
def cli(ctx: click.Context, db: str | None) -> None:
    """What a model build costs."""
    ctx.obj = db


def run() -> None:
    """Run the command line; exits with 0, 1, 2 or 130, never with a traceback."""
    try:
        code = cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(BAD_INPUT)
    except click.exceptions.Abort:
        sys.exit(INTERRUPTED)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except (ServiceError, ScrapeError) as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(DONE)
    sys.exit(code if isinstance(code, int) else DONE)


def db_option(command: Callable[P, R]) -> Callable[P, R]:
    """`--db` behind the command as well as before it."""
    return click.option(
        "--db", metavar="URL", expose_value=False, callback=_take_db, help="Database URL."
    )(command)


def _take_db(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    del param
    if value:
        ctx.find_root().obj = value
    return value


def json_option(command: Callable[P, R]) -> Callable[P, R]:
    """`--json`."""
    return click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")(command)


def say_json(value: Any) -> None:
    """One JSON value on the output."""
    click.echo(json.dumps(value, ensure_ascii=False, indent=2))


def say_json_line(value: Any) -> None:
    """One JSON value on a line of its own, sent at once."""
    click.echo(json.dumps(value, ensure_ascii=False))
    sys.stdout.flush()


def counted(number: int, thing: str) -> str:
    """`1 host`, `4 hosts`."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def amount_text(amount: str, unit: str) -> str:
    """`1 piece`, `4 pieces`, `90 g`."""
    from service.exchange.texts import MANY  # noqa: PLC0415  start-up time

    return f"{amount} {unit if amount == '1' else MANY.get(unit, unit)}"


def settings() -> Settings:
    """Settings with the command line's `--db` over them."""
    from service.settings import load_settings  # noqa: PLC0415  start-up time

    return load_settings(db=click.get_current_context().find_root().obj)


@contextmanager
def book() -> Iterator[Deps]:
    """The user's book, opened; closed when the command ends."""
    from service.bootstrap import opened  # noqa: PLC0415  start-up time

    with opened(settings()) as deps:
        yield deps
