"""Commands that bring files in and take files out."""

from __future__ import annotations

from pathlib import Path

import click

from service.cli.app import DONE, PARTLY, book, counted, db_option, json_option, say_json
from service.errors import InputError

FILE = click.Path(path_type=Path)


@click.group("import")
def import_command() -> None:
    """Bring past prices or a parts list from files."""


@import_command.command("history")
@click.argument("file", type=FILE)
@db_option
def import_history_command(file: Path) -> int:
    """Past prices from a CSV or Parquet FILE.

    Columns: listing,at,price,currency,availability and optionally list_price,tax,note.
    """
    from service.exchange.history import read_history  # noqa: PLC0415  start-up time
    from service.flows import edit  # noqa: PLC0415  start-up time

    rows = read_history(file)
    with book() as deps:
        new = edit.import_history(deps, rows, str(file))
    click.echo(f"{counted(len(rows), 'row')} read, {new} new")
    return DONE


@import_command.command("build")
@click.argument("file", type=FILE)
@click.option("--build", required=True, help="Key of the build that the list becomes.")
@click.option("--preview", is_flag=True, help="Show what is understood; write nothing.")
@json_option
@db_option
def import_build_command(file: Path, build: str, *, preview: bool, as_json: bool) -> int:
    """A parts list from a CSV or XLSX FILE, headers in English or German."""
    from service.exchange.parts_list import into_build, read_parts_list  # noqa: PLC0415
    from service.flows import edit  # noqa: PLC0415  start-up time

    with book() as deps:
        known = edit.known_book(deps)
        found = read_parts_list(file, known)
        if as_json:
            say_json(found.as_json())
        else:
            _show_rows(found.as_json())
        if preview:
            return PARTLY if found.problems else DONE
        if found.problems:
            raise InputError(found.problems)
        changed = edit.load_book(deps, into_build(found, build, known, deps.currency))
    click.echo(f"build {build}: {len(found.rows)} lines, {changed} changed", err=as_json)
    return DONE


def _show_rows(preview: dict[str, object]) -> None:
    from service.cli.show import show_rows  # noqa: PLC0415  start-up time

    show_rows(preview)


@click.command("export")
@click.argument("file", type=FILE)
@click.argument("subjects", nargs=-1)
@db_option
def export_command(file: Path, subjects: tuple[str, ...]) -> int:
    """Past prices of SUBJECTS (listings or parts; all without any) to a CSV or Parquet FILE.

    The file is of the form that "import history" reads.
    """
    from service.exchange.history import spell_rows, write_history  # noqa: PLC0415
    from service.flows.past import spells_of  # noqa: PLC0415  start-up time

    with book() as deps:
        spells, names = spells_of(deps, subjects)
    write_history(file, spell_rows(spells, names))
    click.echo(f"{file}: {len(spells)} spells of {len(names)} listings", err=str(file) == "-")
    return DONE
