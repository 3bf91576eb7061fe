"""The command that lays builds side by side."""

from __future__ import annotations

import click

from service.cli.app import DONE, book, db_option, json_option, say_json


@click.command("versions")
@click.argument("build")
@click.argument("other", required=False)
@click.option("--at", help="A past day; now without it.")
@json_option
@db_option
def versions_command(build: str, other: str | None, at: str | None, *, as_json: bool) -> int:
    """BUILD beside OTHER, or beside all its versions: cost, mass, what changed and saves."""
    from service.flows import versions  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = versions.side_by_side(deps, build, other, at)
    if as_json:
        say_json(answer)
        return DONE
    from service.cli.show_workshop import show_versions  # noqa: PLC0415  start-up time

    show_versions(answer)
    return DONE
