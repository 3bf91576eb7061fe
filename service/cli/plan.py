"""The command that plans the cheapest order."""

from __future__ import annotations

import click

from service.cli.app import DONE, book, db_option, json_option, say_json


@click.command("plan")
@click.argument("builds", nargs=-1)
@click.option(
    "--for",
    "people",
    multiple=True,
    metavar="NAME=BUILD",
    help="A build is for somebody, who owes its share; your own stock is not for it.",
)
@click.option("--to", "country", help="Country of delivery, like NL.")
@click.option("--no-low", is_flag=True, help="Leave out what runs low on the shelf.")
@click.option("--no-others", is_flag=True, help="Only the plan, not what else could be ordered.")
@click.option("--limit", type=click.FloatRange(0.1, 600), help="Seconds to look for the best.")
@json_option
@db_option
def plan_command(  # one option each
    builds: tuple[str, ...],
    people: tuple[str, ...],
    country: str | None,
    limit: float | None,
    *,
    no_low: bool,
    no_others: bool,
    as_json: bool,
) -> int:
    """The cheapest order for BUILDS: goods, delivery and import cost together.

    What is on hand and on its way is not bought again; what runs low joins.
    """
    from service.builds.plan import TIME_LIMIT  # noqa: PLC0415  start-up time
    from service.flows.planning import Question, plan, read_person  # noqa: PLC0415
    from service.model.countries import read_country  # noqa: PLC0415

    asked = Question(
        builds,
        [read_person(text) for text in people],
        read_country(country) if country else None,
        low=not no_low,
        weigh=not no_others,
        limit=limit or TIME_LIMIT,
    )
    with book() as deps:
        answer = plan(deps, asked)
    if as_json:
        say_json(answer)
        return DONE
    from service.cli.show_plan import show_plan  # noqa: PLC0415  start-up time

    show_plan(answer)
    return DONE
