"""Looking after the book: a copy of it, that copy back, another database, more workers."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli.app import DONE, book, db_option, settings
from service.errors import InputError

if TYPE_CHECKING:
    from service.flows.ports import Deps


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--replace", is_flag=True, help="Write over a file that is there.")
@db_option
def backup_command(file: Path, *, replace: bool) -> int:
    """Write a whole, checked copy of the book to FILE, also while it is in use."""
    if file.exists() and not replace:
        raise InputError(f"{file} is there already: name another file, or add --replace")
    from service.store.database import open_store  # noqa: PLC0415  start-up time

    with open_store(settings().db, create=False) as store:
        store.backup(file)
    click.echo(f"{file}: {file.stat().st_size:,} bytes, whole")
    return DONE


@click.command("restore")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@db_option
def restore_command(file: Path) -> int:
    """Make the backup FILE the book; the present book is kept beside it."""
    from service.bootstrap import utc_now  # noqa: PLC0415  start-up time
    from service.store.database import open_store  # noqa: PLC0415
    from service.store.whole import restore  # noqa: PLC0415

    url = settings().db
    aside = restore(file, url, utc_now())
    with open_store(url, create=False) as store:  # an older schema is brought up to date
        wrong = store.problems()
    for line in wrong:
        click.echo(line, err=True)
    click.echo(f"the book is that of {file}")
    if aside is not None:
        click.echo(f"the book until now is kept in {aside}")
    return DONE if not wrong else 1


def carry_book(url: str) -> int:
    """Copy the book into another database, for `ebbmark move --to URL`."""
    from service.store.database import open_store  # noqa: PLC0415  start-up time
    from service.store.whole import carry  # noqa: PLC0415

    with open_store(settings().db, create=False) as store:
        rows = carry(store, url, lambda name, count: click.echo(f"{name:12} {count:>10,}"))
        place = store.place
    click.echo(f"{sum(rows.values()):,} rows. {place} is as it was.")
    click.echo('From now on name the new one: EBBMARK_DB, --db, or db = "..." in ebbmark.toml.')
    return DONE


@click.command("work")
@click.option("--workers", type=click.IntRange(1, 1000), help="Hosts asked at a time.")
@db_option
def work_command(workers: int | None) -> int:
    """Poll and deliver without pages, beside other processes on the same database."""
    own = settings()
    with book() as deps:
        click.echo("working; stop with Ctrl-C", err=True)
        asyncio.run(_work(deps, workers or own.workers))
    return DONE


async def _work(deps: Deps, workers: int) -> None:
    from service.bootstrap import log_to_stderr  # noqa: PLC0415  start-up time
    from service.schedule import running  # noqa: PLC0415

    log_to_stderr()
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    async with running(deps, workers=workers):
        await stop.wait()
    await deps.fetcher.aclose()
