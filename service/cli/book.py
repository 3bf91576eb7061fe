"""Commands that change the book."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.cli.app import DONE, PARTLY, REASONS, book, db_option, json_option, say_json
from service.errors import InputError

if TYPE_CHECKING:
    from service.model.money import Money

FILE = click.Path(path_type=Path)


@click.command("load")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option("--dry-run", is_flag=True, help="Check only; write nothing.")
@db_option
def load_command(files: tuple[Path, ...], *, dry_run: bool) -> int:
    """Read catalogue FILES (TOML) into the book.

    Everything is checked before anything is written; all problems are shown at once.
    """
    from service.exchange.catalogue import read_book  # noqa: PLC0415  start-up time
    from service.flows import edit  # noqa: PLC0415  start-up time

    with book() as deps:
        found = read_book(files, edit.known_book(deps))
        changed = 0 if dry_run else edit.load_book(deps, found)
    counts = (
        f"{len(found.suppliers)} suppliers, {len(found.parts)} parts, "
        f"{len(found.listings)} listings, {len(found.builds)} builds, {len(found.targets)} targets"
    )
    booked = {
        "purchases": found.purchases,
        "orders": found.orders,
        "movements": found.movements,
        "offcuts": found.offcuts,
    }
    counts += "".join(f", {len(rows)} {name}" for name, rows in booked.items() if rows)
    click.echo(f"{counts}: {'nothing written' if dry_run else f'{changed} changed'}")
    return DONE


@click.command("dump")
@click.option("--build", help="Only this build and what it needs.")
@click.option("--public", is_flag=True, help="Without suppliers, prices and purchases.")
@db_option
def dump_command(build: str | None, *, public: bool) -> int:
    """Write the book as a catalogue file (TOML) to the output."""
    from service.exchange.catalogue import dump_book  # noqa: PLC0415  start-up time
    from service.flows import edit  # noqa: PLC0415  start-up time

    with book() as deps:
        click.echo(dump_book(edit.known_book(deps), public=public, build=build), nl=False)
    return DONE


@click.command("add")
@click.argument("url")
@click.option("--part", help="Key of the part that is sold there; without it, only shown.")
@click.option("--sold-as", help='What one purchase holds, e.g. "300 g" or "4 pairs".')
@click.option("--name", help="Makes the part new, with this name.")
@click.option("--unit", default="piece", show_default=True, help="Unit of a new part.")
@json_option
@db_option
def add_command(  # one option each
    url: str,
    part: str | None,
    sold_as: str | None,
    name: str | None,
    unit: str,
    *,
    as_json: bool,
) -> int:
    """Read the page at URL and keep it as a listing of a part.

    How it is sold is taken from --sold-as; what the page suggests is shown, never
    silently used.
    """
    import asyncio  # noqa: PLC0415  start-up time

    from service.cli.show import show_reading  # noqa: PLC0415  start-up time
    from service.flows import edit  # noqa: PLC0415  start-up time
    from service.flows.look import look_at  # noqa: PLC0415  start-up time
    from service.flows.poll import poll_these  # noqa: PLC0415  start-up time

    with book() as deps:
        if part is None:
            say = asyncio.run(look_at(deps, url))
            say_json(say) if as_json else show_reading(say)
            click.echo("Nothing kept: name the part with --part KEY (and --name for a new one).")
            return DONE
        new = edit.new_part(part, name, unit) if name else None
        listing = edit.add_listing(deps, url, part, sold_as=sold_as, every=None, new=new)
        report = asyncio.run(poll_these(deps, [listing.id]))
        state = edit.last_visit(deps, listing)
    answer = {"listing": listing.key, "supplier": listing.supplier, **state}
    say_json(answer) if as_json else click.echo(_added(answer))
    return PARTLY if report.failed or report.waiting else DONE


def _added(answer: Mapping[str, object]) -> str:
    line = f"{answer['listing']} at {answer['supplier']}: {answer['outcome'] or 'not visited yet'}"
    if answer["price"]:
        line += f", {answer['price']} {answer['currency']} for {answer['sold_as']}"
    reason = REASONS.get(str(answer["reason"]), answer["reason"])
    line += f" ({reason})" if reason else ""
    if answer["outcome"] in (None, "ok", "doubtful") or answer["price"]:
        return line
    key = answer["listing"]
    wrong = f'if the address is wrong: ebbmark remove "{key}"'
    return f"{line}\nkept, and tried again by itself; {wrong}"


@click.command("price", context_settings={"ignore_unknown_options": True})
@click.argument("part")
@click.argument("price")
@click.option("--from", "supplier", required=True, help="Key of the supplier.")
@click.option("--on", help="Day of the price, e.g. 2026-11-24; now without it.")
@click.option("--sold-as", help="What one purchase holds; one unit of the part without it.")
@db_option
def price_command(part: str, price: str, supplier: str, on: str | None, sold_as: str | None) -> int:
    """Book PRICE (like "7.90 EUR") of PART by hand."""
    from service.flows import edit  # noqa: PLC0415  start-up time
    from service.model.money import parse_money  # noqa: PLC0415  start-up time

    with book() as deps:
        listing = edit.book_price(deps, part, parse_money(price), supplier, on=on, sold_as=sold_as)
    click.echo(f"{listing.key}: {price}")
    return DONE


@click.command("buy")
@click.argument("part")
@click.option("--count", required=True, help="How many units of sale.")
@click.option("--price", help='Of one unit of sale, like "38.00 EUR".')
@click.option("--total", help="Of all of them together.")
@click.option("--from", "supplier", help="Key of the supplier.")
@click.option("--on", help="Day of the purchase; today without it.")
@click.option("--order", help="Number of the order it belongs to.")
@click.option("--debited", help="What really left the account for all of them.")
@click.option("--condition", default="new", help='Like "used, from a club mate"; new without it.')
@click.option("--sold-as", help='What one held, like "300 g", where no listing says it.')
@db_option
def buy_command(
    part: str, count: str, price: str | None, total: str | None, debited: str | None, **more: Any
) -> int:
    """Book a purchase of PART, which may also be a listing; a set is shared out."""
    from service.flows.buying import Bought, buy  # noqa: PLC0415  start-up time
    from service.model.money import parse_decimal, parse_money  # noqa: PLC0415  start-up time

    number = parse_decimal(count, f'--count: "{count}" is not a number')
    money = _total(number, price, total)
    with book() as deps:
        paid = parse_money(debited) if debited else None
        for one in buy(deps, part, number, money, Bought(debited=paid, **more)):
            click.echo(f"booked: {one.count:f} x {one.part}, {one.total} in all")
    return DONE


def _total(count: Decimal, price: str | None, total: str | None) -> Money:
    from service.model.money import Money, parse_money  # noqa: PLC0415  start-up time

    if (price is None) == (total is None):
        raise InputError("give exactly one of --price (of one) and --total (of all)")
    if total is not None:
        return parse_money(total)
    each = parse_money(price or "")
    return Money(each.amount * count, each.currency)


@click.command("accept")
@click.argument("listing")
@db_option
def accept_command(listing: str) -> int:
    """Believe the reading of LISTING that was kept aside."""
    from service.flows import doubts  # noqa: PLC0415  start-up time

    with book() as deps:
        offer = doubts.accept(deps, listing)
    click.echo(f"{listing}: {offer.price} {offer.currency} accepted")
    return DONE


@click.command("reject")
@click.argument("listing")
@db_option
def reject_command(listing: str) -> int:
    """Drop the reading of LISTING that was kept aside."""
    from service.flows import doubts  # noqa: PLC0415  start-up time

    with book() as deps:
        key = doubts.reject(deps, listing)
    click.echo(f"{key}: reading dropped")
    return DONE


@click.command("remove")
@click.argument("listing")
@db_option
def remove_command(listing: str) -> int:
    """Watch LISTING no longer; its history stays."""
    from service.flows import edit  # noqa: PLC0415  start-up time

    with book() as deps:
        key = edit.remove_listing(deps, listing)
    click.echo(f"{key}: removed")
    return DONE


@click.command("relocate")
@click.argument("listing")
@click.argument("url")
@db_option
def relocate_command(listing: str, url: str) -> int:
    """LISTING has moved to URL: same goods, same history, new address."""
    from service.flows import edit  # noqa: PLC0415  start-up time

    with book() as deps:
        moved = edit.relocate(deps, listing, url)
    click.echo(f"{listing} is now {moved.key}")
    return DONE


@click.command("cut")
@click.argument("listing")
@click.option("--on", required=True, help="Day or time from which the page sold something else.")
@click.option("--part", help="Part that it sells since then; the same one without it.")
@click.option("--sold-as", help="What one purchase holds since then.")
@db_option
def cut_command(listing: str, on: str, part: str | None, sold_as: str | None) -> int:
    """LISTING's page began to sell something else: its history before that stays apart."""
    from service.flows import edit  # noqa: PLC0415  start-up time

    with book() as deps:
        new = edit.cut(deps, listing, on, part=part, sold_as=sold_as)
    click.echo(f"{new.key} begins anew on {on}; what was before is kept as {listing}@{on[:10]}")
    return DONE
