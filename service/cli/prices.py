"""Commands about prices: read a page, poll, history."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.cli.app import (
    DONE,
    PARTLY,
    REASONS,
    book,
    counted,
    db_option,
    json_option,
    say_json,
    say_json_line,
)
from service.errors import InputError, NotFoundError

if TYPE_CHECKING:
    from scrapers import SiteRules
    from service.flows.ports import Deps
    from service.flows.writer import PollLine, PollReport

NO_PAGE = ("unreachable", "throttled", "refused", "broken", "gone", "barred")


@click.command("read")
@click.argument("pages", nargs=-1, required=True)
@click.option("--url", "base", help="Address that a saved page came from.")
@click.option("--rules", type=click.Path(path_type=Path), help="TOML file with rules.")
@json_option
@db_option
def read_command(
    pages: tuple[str, ...], base: str | None, rules: Path | None, *, as_json: bool
) -> int:
    """Show what is read from PAGES (URLs or saved files), without storing it."""
    from service.cli.show import show_reading  # noqa: PLC0415  start-up time

    site = _rules(rules)
    failed = False
    for answer in _answers(pages, base, site):
        failed |= answer["outcome"] in NO_PAGE and answer["source"] is None
        say_json_line(answer) if as_json else show_reading(answer)
    return PARTLY if failed else DONE


def _answers(pages: tuple[str, ...], base: str | None, rules: SiteRules | None) -> Any:
    urls = [page for page in pages if page.startswith(("http://", "https://"))]
    if missing := [p for p in pages if p not in urls and not Path(p).is_file()]:
        raise InputError([f"{p}: neither a file nor an http(s) address" for p in missing])
    if not urls:
        yield from (_read_file(page, base, rules) for page in pages)
        return
    from service.flows.look import look_at  # noqa: PLC0415  start-up time

    with book() as deps:
        for page in pages:
            if page in urls:
                yield asyncio.run(look_at(deps, page, rules))
            else:
                yield _read_file(page, base, rules)


def _read_file(name: str, base: str | None, rules: SiteRules | None) -> dict[str, Any]:
    from datetime import UTC, datetime  # noqa: PLC0415  start-up time

    from scrapers import Page, read_page, reading_to_json  # noqa: PLC0415  start-up time

    path = Path(name)
    at = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    page = Page(base or path.resolve().as_uri(), path.read_bytes(), None, at)
    return reading_to_json(name, base or page.url, read_page(page, rules))


def _rules(path: Path | None) -> SiteRules | None:
    if path is None:
        return None
    import tomllib  # noqa: PLC0415  start-up time
    from dataclasses import fields  # noqa: PLC0415  start-up time

    from scrapers import RuleError, SiteRules, check_rules  # noqa: PLC0415  start-up time

    try:
        found = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: {error}") from None
    known = {field.name for field in fields(SiteRules)} - {"ids"}
    if unknown := set(found) - known:
        raise InputError(f"{path}: {', '.join(sorted(unknown))}: the keys are {sorted(known)}")
    if wrong := sorted(key for key, value in found.items() if not isinstance(value, str)):
        raise InputError(f"{path}: {', '.join(wrong)}: write a text in quotes")
    rules = SiteRules(**found)
    try:
        check_rules(rules)
    except RuleError as error:
        raise InputError(f"{path}: {error}") from None
    return rules


@click.command("poll")
@click.argument("listings", nargs=-1)
@click.option("--all", "everything", is_flag=True, help="Every listing that has a page.")
@click.option("--from", "saved", type=click.Path(path_type=Path), help="A page saved by hand.")
@json_option
@db_option
def poll_command(
    listings: tuple[str, ...], saved: Path | None, *, everything: bool, as_json: bool
) -> int:
    """Visit LISTINGS now (or all, or what is due), each host in its turn and at its pace.

    With --json one object a line as each result is kept, then the counts.
    """
    with book() as deps:
        if saved is not None:
            return _poll_saved(deps, listings, saved, as_json=as_json)
        if listings or everything:
            report = _poll_named(deps, listings, as_json=as_json)
        else:
            report = _poll_due(deps, as_json=as_json)
    _say_report(report, as_json=as_json)
    return PARTLY if report.failed or report.waiting else DONE


def _poll_saved(deps: Deps, listings: tuple[str, ...], saved: Path, *, as_json: bool) -> int:
    from service.flows.saved import poll_saved  # noqa: PLC0415  start-up time

    if len(listings) != 1 or not saved.is_file():
        raise InputError("--from wants one LISTING and a file that exists")
    line = poll_saved(deps, listings[0], saved.read_bytes())
    say_json_line(_line_json(line)) if as_json else click.echo(_line_text(line))
    return DONE if line.outcome in ("ok", "unchanged") else PARTLY


def _poll_named(deps: Deps, listings: tuple[str, ...], *, as_json: bool) -> PollReport:
    from service.flows.names import need_listing  # noqa: PLC0415  start-up time
    from service.flows.poll import poll_these  # noqa: PLC0415  start-up time

    with deps.store.read() as unit:
        if listings:
            chosen = [need_listing(unit, name) for name in listings]
        else:
            chosen = unit.catalogue.listings()
    ids = [entry.id for entry in chosen if entry.url]
    if not ids:
        raise NotFoundError("no listing with a page to visit")
    with _progress(len(ids), as_json=as_json) as on_line:
        return asyncio.run(poll_these(deps, ids, on_line=on_line))


def _poll_due(deps: Deps, *, as_json: bool) -> PollReport:
    from service.flows.poll import poll_due  # noqa: PLC0415  start-up time

    with _progress(None, as_json=as_json) as on_line:
        return asyncio.run(poll_due(deps, on_line=on_line))


class _progress:  # noqa: N801  # used as a function
    """Lines as results are kept, and a bar where a person watches."""

    def __init__(self, total: int | None, *, as_json: bool) -> None:
        self._as_json = as_json
        self._bar: Any = None
        if not as_json and sys.stderr.isatty():
            from rich.console import Console  # noqa: PLC0415  start-up time
            from rich.progress import Progress  # noqa: PLC0415  start-up time

            self._bar = Progress(console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task("polling", total=total)

    def __enter__(self) -> Any:
        if self._bar:
            self._bar.start()
        return self._on_line

    def __exit__(self, *_: object) -> None:
        if self._bar:
            self._bar.stop()

    def _on_line(self, line: PollLine) -> None:
        if self._bar:
            self._bar.advance(self._task)
        if self._as_json:
            say_json_line(_line_json(line))
        elif line.outcome not in ("ok", "unchanged"):
            click.echo(_line_text(line))


def _line_json(line: PollLine) -> dict[str, str | None]:
    return {
        "listing": line.listing,
        "outcome": line.outcome.value,
        "reason": line.reason,
        "price": line.price,
        "currency": line.currency,
    }


def _line_text(line: PollLine) -> str:
    reason = f": {REASONS.get(line.reason, line.reason)}" if line.reason else ""
    price = f" {line.price} {line.currency}" if line.price else ""
    return f"{line.outcome.value:<12} {line.listing}{price}{reason}"


def _say_report(report: PollReport, *, as_json: bool) -> None:
    counts = report.as_json()
    if as_json:
        say_json_line({"polled": counts, "waiting": report.waiting})
        return
    told = ", ".join(f"{n} {name}" for name, n in counts.items() if n and name != "hosts")
    click.echo(f"{counted(counts['hosts'], 'host')} visited: {told or 'nothing was due'}")
    for host, reason in report.waiting.items():
        click.echo(f"waiting      {host}: {reason}")


@click.command("history")
@click.argument("subject")
@click.option("--days", type=click.IntRange(1, 36500), help="Only the last so many days.")
@click.option("--csv", "as_csv", is_flag=True, help="Spells as CSV.")
@json_option
@db_option
def history_command(subject: str, days: int | None, *, as_csv: bool, as_json: bool) -> int:
    """Prices of SUBJECT (a part or a listing) over time: spells, lowest, usual, advice."""
    from service.flows.past import history  # noqa: PLC0415  start-up time

    with book() as deps:
        answer = history(deps, subject, days=days)
    if as_csv:
        from service.exchange.history import spells_csv  # noqa: PLC0415  start-up time

        click.echo(spells_csv(answer["spells"]), nl=False)
    elif as_json:
        say_json(answer)
    else:
        from service.cli.show import show_history  # noqa: PLC0415  start-up time

        show_history(answer)
    return DONE
